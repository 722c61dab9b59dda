package mqtt

import (
	"encoding/json"
	"strings"
)

// Acknowledged tells of a message that a subscriber of the embedded broker has acknowledged; an alert of this device is
// then delivered. Any other message is ignored.
func (c *Client) Acknowledged(topic string, payload []byte) {
	if !matches(c.topic("+", "alert"), topic) {
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
	if client != c.id() && matches(filter, c.topic("+", "alert")) {
		c.Again()
	}
}

// matches reports whether a filter matches a topic, or could match one of a second filter's topics.
func matches(filter, topic string) bool {
	if shared, ok := strings.CutPrefix(filter, "$share/"); ok {
		_, filter, _ = strings.Cut(shared, "/")
	}
	fs, ts := strings.Split(filter, "/"), strings.Split(topic, "/")
	for i, f := range fs {
		switch {
		case f == "#":
			return true
		case i >= len(ts), f != "+" && ts[i] != "+" && f != ts[i]:
			return false
		}
	}
	return len(fs) == len(ts)
}
