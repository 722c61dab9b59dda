package prose

import (
	"fmt"
	"strings"
	"time"
)

// TimeError is a time that is not understood.
type TimeError struct{ Text, Remedy string }

// Error names the text.
func (e *TimeError) Error() string { return fmt.Sprintf("%q is no time", e.Text) }

// Hint says how to write one.
func (e *TimeError) Hint() string { return e.Remedy }

// Past reads a time that has passed: "20:15" (the last one), "yesterday 20:15", "25m ago", "2026-03-04 20:15" or RFC
// 3339. Times without a zone are in now's.
func Past(s string, now time.Time) (time.Time, error) {
	return typed(s, now, -1, "write 20:15, yesterday 20:15, 25m ago, or 2026-03-04 20:15")
}

// Ahead reads a time to come: "07:00" (the next one), "tomorrow 07:00", "in 8h", "2026-03-05 07:00" or RFC 3339. Times
// without a zone are in now's.
func Ahead(s string, now time.Time) (time.Time, error) {
	return typed(s, now, 1, "write 07:00, tomorrow 07:00, in 8h, or 2026-03-05 07:00")
}

func typed(s string, now time.Time, direction int, remedy string) (time.Time, error) {
	word := strings.ToLower(strings.Join(strings.Fields(s), " "))
	if word == "now" {
		return now, nil
	}
	for _, read := range []func(string, time.Time, int) (time.Time, bool){spanFrom, clockOn, dated} {
		if t, ok := read(word, now, direction); ok {
			return t, nil
		}
	}
	return time.Time{}, &TimeError{Text: s, Remedy: remedy}
}

// spanFrom reads "25m ago" and "-25m" backwards, "in 8h" and "+8h" forwards.
func spanFrom(word string, now time.Time, direction int) (time.Time, bool) {
	text, past := strings.CutSuffix(word, " ago")
	if rest, ok := strings.CutPrefix(text, "-"); ok && !past {
		text, past = rest, true
	}
	future := false
	for _, prefix := range []string{"in ", "+"} {
		if rest, ok := strings.CutPrefix(text, prefix); ok {
			text, future = rest, true
		}
	}
	d, err := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
	switch {
	case err != nil || d < 0 || past == future || past != (direction < 0):
		return time.Time{}, false
	case past:
		return now.Add(-d), true
	}
	return now.Add(d), true
}

// clockOn reads a time of day, alone or after "today", "yesterday" or "tomorrow". Alone it is the nearest one in the
// direction asked for.
func clockOn(word string, now time.Time, direction int) (time.Time, bool) {
	day, clock, two := strings.Cut(word, " ")
	if !two {
		day, clock = "", word
	}
	shift, ok := map[string]int{"": 0, "today": 0, "yesterday": -1, "tomorrow": 1}[day]
	t, err := time.Parse("15:04", clock)
	if !ok || err != nil {
		return time.Time{}, false
	}
	on := func(days int) time.Time {
		y, m, d := now.Date()
		return time.Date(y, m, d+days, t.Hour(), t.Minute(), 0, 0, now.Location())
	}
	at := on(shift)
	switch {
	case day == "" && direction < 0 && at.After(now):
		at = on(-1)
	case day == "" && direction > 0 && !at.After(now):
		at = on(1)
	}
	return at, true
}

// dated reads a time with its date.
func dated(word string, now time.Time, _ int) (time.Time, bool) {
	if t, err := time.Parse(time.RFC3339, strings.ToUpper(word)); err == nil {
		return t, true
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02t15:04", "2006-01-02 15:04:05"} {
		if t, err := time.ParseInLocation(layout, word, now.Location()); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}
