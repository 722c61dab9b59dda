// Package topic compares MQTT topic names and filters (MQTT 3.1.1 section 4.7).
package topic

import "strings"

// Matches reports whether a filter matches a topic name. name may hold wildcards itself: then it is whether some topic
// matches both. A shared subscription ($share/group/filter) counts as its filter.
func Matches(filter, name string) bool {
	if shared, ok := strings.CutPrefix(filter, "$share/"); ok {
		_, filter, _ = strings.Cut(shared, "/")
	}
	fs, ns := strings.Split(filter, "/"), strings.Split(name, "/")
	if strings.HasPrefix(name, "$") && fs[0] != ns[0] { // wildcards do not reach the broker's own topics [MQTT-4.7.2-1]
		return false
	}
	for i, f := range fs {
		switch {
		case f == "#" || i < len(ns) && ns[i] == "#":
			return true
		case i >= len(ns), f != "+" && ns[i] != "+" && f != ns[i]:
			return len(ns) == i+1 && ns[i] == "#"
		}
	}
	return len(fs) == len(ns) || len(ns) == len(fs)+1 && ns[len(fs)] == "#"
}
