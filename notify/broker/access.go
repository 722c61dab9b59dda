package broker

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"

	"nightjar/notify/topic"
)

// Access is who may read and write which topics.
type Access struct {
	rules []rule
}

// rule is one line of an access file.
type rule struct {
	user    string // empty: everybody
	filter  string
	pattern bool // %u and %c in the filter stand for the user and the client id
	kind    string
}

// DefaultAccess lets everybody read everything, and write commands and what is none of ours: nobody but the daemon
// itself can tell an alert.
func DefaultAccess() *Access {
	return &Access{rules: []rule{
		{filter: "nightjar/+/+/command", kind: "readwrite"},
		{filter: "#", kind: "read"},
		{filter: "nightjar/#", kind: "reserved"},
		{filter: "#", kind: "write"},
	}}
}

// ReadAccess reads an access file of mosquitto's form: "user NAME" begins a user's lines; "topic [read|write|readwrite|
// deny] FILTER" and "pattern ..." with %u and %c for the user and the client id. What is not allowed is refused. Lines
// before the first user are for everybody, and so are patterns.
func ReadAccess(r io.Reader) (*Access, error) {
	a, user := &Access{}, ""
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		word, rest, _ := strings.Cut(line, " ")
		rest = strings.TrimSpace(rest)
		if word == "user" && rest != "" {
			user = rest
			continue
		}
		ru, err := parseRule(word, rest)
		if err != nil {
			return nil, fmt.Errorf("access file, line %d: %w", n, err)
		}
		if !ru.pattern {
			ru.user = user
		}
		a.rules = append(a.rules, ru)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("access file: %w", err)
	}
	return a, nil
}

func parseRule(word, rest string) (rule, error) {
	if word != "topic" && word != "pattern" {
		return rule{}, fmt.Errorf("%q is not known: use user, topic or pattern", word)
	}
	r := rule{pattern: word == "pattern", kind: "readwrite", filter: rest}
	if kind, filter, _ := strings.Cut(rest, " "); slices.Contains([]string{"read", "write", "readwrite", "deny"}, kind) {
		r.kind, r.filter = kind, strings.TrimSpace(filter)
	}
	if !validFilter(r.filter) {
		return r, fmt.Errorf("%q is no topic filter", r.filter)
	}
	return r, nil
}

// validFilter follows MQTT 3.1.1 section 4.7.1: a wildcard is a whole level, # the last one.
func validFilter(f string) bool {
	levels := strings.Split(f, "/")
	for i, l := range levels {
		if strings.ContainsAny(l, "+#") && l != "+" && (l != "#" || i != len(levels)-1) {
			return false
		}
	}
	return f != "" && !strings.ContainsRune(f, 0)
}

// may reports whether a user's client may read or write a topic. A filter that somebody subscribes to is no topic: it is
// let pass, since each message is looked at again before it is sent to a subscriber.
func (a *Access) may(user, client, name string, write bool) bool {
	if !write && strings.ContainsAny(name, "+#") {
		return true
	}
	allowed := false
	for _, r := range a.rules {
		if !r.applies(user, client, name) {
			continue
		}
		switch {
		case r.kind == "deny":
			return false
		case r.kind == "reserved":
			return allowed
		case r.kind == "readwrite", write == (r.kind == "write"):
			allowed = true
		}
	}
	return allowed
}

func (r rule) applies(user, client, name string) bool {
	if r.user != "" && r.user != user {
		return false
	}
	filter := r.filter
	if r.pattern {
		// A name with a wildcard in it would widen the filter.
		if strings.ContainsAny(user+client, "+#/") {
			return false
		}
		filter = strings.NewReplacer("%u", user, "%c", client).Replace(filter)
	}
	return topic.Matches(filter, name)
}
