package bell

import (
	"fmt"
	"time"

	"nightjar/rise"
)

// Hour is a time of day on the baker's clock.
type Hour struct {
	Hour, Minute int
}

// ParseHour reads "22:30".
func ParseHour(s string) (Hour, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return Hour{}, fmt.Errorf("time of day %q: write it as 22:30", s)
	}
	return Hour{t.Hour(), t.Minute()}, nil
}

// String is the hour as "22:30".
func (h Hour) String() string { return fmt.Sprintf("%02d:%02d", h.Hour, h.Minute) }

// on is the hour on the day of t, which is days later.
func (h Hour) on(t time.Time, days int) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d+days, h.Hour, h.Minute, 0, 0, t.Location())
}

// after is the first time after t at which the clock shows the hour.
func (h Hour) after(t time.Time) time.Time {
	if at := h.on(t, 0); at.After(t) {
		return at
	}
	return h.on(t, 1)
}

// Policy is when people may be woken and how often.
type Policy struct {
	// QuietFrom and QuietTo bound the quiet hours, which may span midnight; if they are equal there are none.
	QuietFrom, QuietTo Hour
	// Bedtime is when the bedtime message is sent.
	Bedtime Hour
	// Every is the time between two rings, Rings how many there are at most.
	Every time.Duration
	Rings int
	// Unhealed is how long a fault must last before it may wake.
	Unhealed time.Duration
	// Moved is by how much the latest time must move before quiet hours for a second bedtime message.
	Moved time.Duration
	// Levels replaces the level of kinds, whatever the situation.
	Levels map[rise.AlertKind]rise.AlertLevel
}

// Default is the policy unless something else is wished.
func Default() Policy {
	return Policy{
		QuietFrom: Hour{22, 0}, QuietTo: Hour{7, 0}, Bedtime: Hour{21, 30},
		Every: 5 * time.Minute, Rings: 6, Unhealed: 15 * time.Minute, Moved: 30 * time.Minute,
	}
}

// Check refuses a policy under which a bell could not do its work.
func (p Policy) Check() error {
	switch {
	case p.Every < time.Minute || p.Every > time.Hour:
		return fmt.Errorf("rings %v apart: use 1m to 1h", p.Every)
	case p.Rings < 1 || p.Rings > 60:
		return fmt.Errorf("%d rings: use 1 to 60", p.Rings)
	case p.Unhealed < 0 || p.Moved <= 0:
		return fmt.Errorf("a wait of %v for a fault, of %v for a second bedtime message: both must be times", p.Unhealed, p.Moved)
	}
	return nil
}

// Quiet reports whether now lies in the quiet hours, and when these end.
func (p Policy) Quiet(now time.Time) (until time.Time, quiet bool) {
	if p.QuietFrom == p.QuietTo {
		return time.Time{}, false
	}
	until = p.QuietTo.after(now)
	began := p.QuietFrom.on(until, 0)
	if !began.Before(until) {
		began = p.QuietFrom.on(until, -1)
	}
	return until, !now.Before(began)
}

// Situation is what a level depends on.
type Situation struct {
	Kind    rise.AlertKind
	RunKind rise.RunKind
	// Since is when the condition began to hold.
	Since time.Time
	// Early is the forecast's early edge (10 %), zero if nothing is known.
	Early time.Time
	// ActingHelps tells that what the baker could do tonight would still help.
	ActingHelps bool
}

// Level is how loudly to tell an alert now. It may rise while the condition lasts.
func (p Policy) Level(s Situation, now time.Time) rise.AlertLevel {
	if l, ok := p.Levels[s.Kind]; ok {
		return l
	}
	wakes := false
	switch s.Kind {
	case rise.AlertReady, rise.AlertPast:
		if s.RunKind == rise.RunStarter {
			return rise.LevelQuiet // a starter near its peak waits for whoever is up
		}
		wakes = true
	case rise.AlertFalling:
		wakes = s.RunKind == rise.RunDough
	case rise.AlertSlow:
		wakes = s.ActingHelps
	case rise.AlertFault:
		until, quiet := p.Quiet(now)
		wakes = quiet && !s.Early.IsZero() && s.Early.Before(until) && now.Sub(s.Since) >= p.Unhealed
	}
	switch {
	case wakes:
		return rise.LevelWakes
	case s.Kind.Level() == rise.LevelWakes:
		return rise.LevelWarning
	}
	return s.Kind.Level()
}

// Due is when an alert of the level may be told: at once if it wakes or outside the quiet hours, else when these end.
func (p Policy) Due(level rise.AlertLevel, now time.Time) time.Time {
	if until, quiet := p.Quiet(now); quiet && level != rise.LevelWakes {
		return until
	}
	return now
}
