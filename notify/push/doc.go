// Package push sends alerts as HTTP POSTs, so that any service that takes one can bring them to a phone.
//
// What is posted is a template over Data; three presets serve most services:
//
//	text     the words as plain text, title and priority as headers
//	json     one JSON object with title, message, priority, tags and, where a link is known, a button to acknowledge
//	message  the JSON that MQTT carries (notify.Message)
//
// Any answer of 2xx is a delivery, everything else is tried again: HTTP has no acknowledgement that outlives a broken
// connection, so an alert may arrive twice, under the same id. Redirects to another host are not followed, and no
// error shows the address, because its path is often the only secret.
package push
