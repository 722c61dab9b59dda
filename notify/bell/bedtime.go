package bell

import (
	"fmt"
	"strings"
	"time"
)

// Outlook is what a bedtime message tells.
type Outlook struct {
	// Earliest, Likely and Latest are the forecast's 10, 50 and 90 % quantiles; zero if the target is not expected.
	Earliest, Likely, Latest time.Time
	// Reason is why there is no forecast.
	Reason string
	// Armed tells that a route has been shown to reach a person; Why says what is missing.
	Armed bool
	Why   string
}

// Sent is the bedtime message sent last.
type Sent struct {
	At     time.Time
	Latest time.Time
}

// BedtimeDue reports whether a bedtime message is to be sent now: once an evening, at bedtime or later, and again if the
// latest time has moved by Moved before the quiet hours begin. Outside the hours between bedtime and the quiet hours'
// end it never is.
func (p Policy) BedtimeDue(o Outlook, last Sent, now time.Time) bool {
	end := p.QuietTo.after(now)
	begin := p.Bedtime.on(end, 0)
	if !begin.Before(end) {
		begin = p.Bedtime.on(end, -1)
	}
	if now.Before(begin) {
		return false
	}
	if last.At.Before(begin) {
		return true
	}
	if _, quiet := p.Quiet(now); quiet || p.QuietFrom == p.QuietTo {
		return false // too late to be told, or nobody goes to bed here
	}
	if o.Latest.IsZero() || last.Latest.IsZero() {
		return o.Latest.IsZero() != last.Latest.IsZero()
	}
	return o.Latest.Sub(last.Latest).Abs() >= p.Moved
}

// Text is the bedtime message, in the zone of the forecast's times. A dead machine cannot ring, so it names a time for
// an alarm of one's own.
func (o Outlook) Text() string {
	var s strings.Builder
	if o.Latest.IsZero() {
		fmt.Fprintf(&s, "No time can be told: %s.", strings.TrimSuffix(orWords(o.Reason, "nothing is known yet"), "."))
	} else {
		fmt.Fprintf(&s, "Ready at %s at the earliest, likely at %s, by %s at the latest.", clock(o.Earliest), clock(o.Likely), clock(o.Latest))
	}
	if o.Armed {
		s.WriteString(" The bell is armed.")
	} else {
		fmt.Fprintf(&s, " The bell is NOT armed: %s.", strings.TrimSuffix(orWords(o.Why, "no route reaches a person"), "."))
	}
	if !o.Latest.IsZero() {
		fmt.Fprintf(&s, " As a backstop, set your own alarm for %s.", clock(o.Latest))
	}
	return s.String()
}

// clock shows the minute, rounded up: an alarm may be late by seconds, not early by one.
func clock(t time.Time) string {
	if up := t.Truncate(time.Minute); up.Before(t) {
		t = up.Add(time.Minute)
	}
	return t.Format("15:04")
}

func orWords(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
