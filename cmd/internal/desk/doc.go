// Package desk is all that a person can ask or do, once: the HTTP handlers, the MQTT command topic and the commands
// that find no daemon all come here.
//
// A Desk checks what a person typed, fills in the time, hands the action to the store, which makes it durable, and adds
// what the person should hear about it (a caution, or that nothing can wake them). Answers to questions are computed
// from the raw readings by package rise, so that page, commands and alerts cannot disagree.
//
// An error that a person can do something about is an *Error: its Kind says whether the request was wrong, the thing
// does not exist, or it is refused as things stand, and its hint what to do.
package desk
