package config

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Error is a fault in a configuration.
type Error struct {
	// Line is the line of the file, from 1; 0 is unknown.
	Line int
	// Key is the key at fault, dotted; empty if the text is no TOML at all.
	Key string
	// Msg says what is wrong, Remedy what to write instead.
	Msg, Remedy string
}

// Error names the line, the key and what is wrong with it.
func (e *Error) Error() string {
	var b strings.Builder
	if e.Line > 0 {
		fmt.Fprintf(&b, "line %d: ", e.Line)
	}
	if e.Key != "" {
		fmt.Fprintf(&b, "%s: ", e.Key)
	}
	b.WriteString(e.Msg)
	return b.String()
}

// Hint is the remedy.
func (e *Error) Hint() string { return e.Remedy }

// decodeError turns what the TOML decoder says into an Error.
func decodeError(err error) error {
	if missing, ok := errors.AsType[*toml.StrictMissingError](err); ok && len(missing.Errors) > 0 {
		first := missing.Errors[0]
		row, _ := first.Position()
		return unknownKey(row, first.Key())
	}
	if de, ok := errors.AsType[*toml.DecodeError](err); ok {
		row, col := de.Position()
		return &Error{
			Line: row, Key: strings.Join(de.Key(), "."),
			Msg:    fmt.Sprintf("column %d: %s", col, strings.TrimPrefix(de.Error(), "toml: ")),
			Remedy: "text stands in quotes, numbers do not; a table begins with [name], a list of stations with [[station]]",
		}
	}
	return &Error{Msg: strings.TrimPrefix(err.Error(), "toml: "), Remedy: "the file must be TOML: https://toml.io"}
}

// known lists the keys of each table; the empty name stands for the tables themselves.
var known = map[string][]string{
	"":       {"device", "store", "mqtt", "web", "alerts", "station", "push"},
	"device": {"name"},
	"store":  {"path", "flush_run", "flush_idle"},
	"mqtt":   {"broker", "listen", "user", "password_file", "ca_file", "cert_file", "key_file", "users_file", "discovery", "keep_alive"},
	"web":    {"socket"},
	"alerts": {"soon", "repeat", "rings", "quiet_from", "quiet_to", "bedtime", "buzzer"},
	"station": {"name", "chip", "bus", "mux", "address", "xshut", "interrupt", "window", "ranges", "budget", "every", "jar_probe",
		"dough_probe", "room_probe"},
	"push": {"name", "url", "format", "body", "topic", "headers", "token_file", "ca_file"},
}

// unknownKey says that there is no such key, and which one may have been meant.
func unknownKey(line int, key toml.Key) error {
	table, last := "", ""
	if len(key) > 0 {
		last = key[len(key)-1]
	}
	if len(key) > 1 {
		table = key[0]
	}
	names, ok := known[table]
	if !ok {
		names = known[""]
	}
	remedy := "known here: " + strings.Join(names, ", ")
	near := slices.MinFunc(names, func(a, b string) int { return cmp.Compare(distance(a, last), distance(b, last)) })
	if distance(near, last) <= 2 {
		remedy = fmt.Sprintf("did you mean %s? %s", near, remedy)
	}
	if slices.Contains([]string{"password", "token", "secret"}, last) {
		remedy = "write the secret into a file of its own and name that file: password_file or token_file"
	}
	return &Error{Line: line, Key: strings.Join(key, "."), Msg: "unknown key", Remedy: remedy}
}

// distance is the Levenshtein distance of two short words.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			next := diagonal
			if a[i] != b[j] {
				next = 1 + min(diagonal, row[j], row[j+1])
			}
			diagonal, row[j+1] = row[j+1], next
		}
	}
	return row[len(b)]
}
