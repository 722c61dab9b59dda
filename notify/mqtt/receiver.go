package mqtt

import (
	"encoding/json"

	"nightjar/notify/topic"
)

// Acknowledged tells of a message that a subscriber of the embedded broker has acknowledged; an alert of this device is
// then delivered. Any other message is ignored.
func (c *Client) Acknowledged(name string, payload []byte) {
	if !topic.Matches(c.topic("+", "alert"), name) {
		return
	}
	var m struct{ ID string }
	if json.Unmarshal(payload, &m) == nil && m.ID != "" {
		c.Confirm(m.ID)
	}
}

// Subscribed tells of a client of the embedded broker that has subscribed; if it can get this device's alerts, those
// that nobody has confirmed are sent again.
func (c *Client) Subscribed(client, filter string) {
	if client != c.id() && topic.Matches(filter, c.topic("+", "alert")) {
		c.Again()
	}
}
