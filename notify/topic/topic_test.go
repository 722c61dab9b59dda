package topic_test

import (
	"fmt"
	"testing"

	"nightjar/notify/topic"

	"github.com/stretchr/testify/assert"
)

// The first rows are the examples of MQTT 3.1.1, sections 4.7.1.2, 4.7.1.3 and 4.7.2.
func TestMatches(t *testing.T) {
	for _, tt := range []struct {
		filter, name string
		want         bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
		{"sport/#", "sport", true},
		{"#", "sport/tennis", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player2", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"#", "$SYS/uptime", false},
		{"+/monitor/Clients", "$SYS/monitor/Clients", false},
		{"$SYS/#", "$SYS/monitor", true},
		{"$SYS/monitor/+", "$SYS/monitor/Clients", true},
		{"a/b", "a/b", true},
		{"a/b", "a/B", false},
		{"a/b", "a/b/c", false},
		{"a/b/c", "a/b", false},
		{"$share/phones/a/+", "a/b", true},
		{"a/b", "a/+", true},
		{"a/+", "+/b", true},
		{"a/b/c", "a/#", true},
		{"a/b", "b/#", false},
		{"a", "a/#", true},
		{"a/#", "a/b/+", true},
	} {
		assert.Equal(t, tt.want, topic.Matches(tt.filter, tt.name), "%s %s", tt.filter, tt.name)
	}
}

func Example() {
	fmt.Println(topic.Matches("nightjar/+/+/alert", "nightjar/attic/main/alert"))
	// Output: true
}
