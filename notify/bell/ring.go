package bell

import (
	"time"

	"nightjar/rise"
)

// Bell is what has been rung for one alert so far.
type Bell struct {
	Kind rise.AlertKind
	// Rings counts the rings so far, Last is the time of the last one.
	Rings int
	Last  time.Time
	// Snoozed is until when a person has put it off; zero is not at all. A snooze starts the count anew: that person is
	// awake and wants to be rung.
	Snoozed time.Time
	// Silent tells that a person has answered: acknowledged, or taken the jar out.
	Silent bool
}

// Next is when the bell rings next; false if it does not ring any more.
func (p Policy) Next(b Bell) (at time.Time, ok bool) {
	most := 1
	if b.Kind == rise.AlertReady {
		most = p.Rings
	}
	switch {
	case b.Silent:
		return time.Time{}, false
	case b.Rings == 0:
		return b.Last, true
	case b.Snoozed.After(b.Last):
		return b.Snoozed, true
	case b.Rings < most:
		return b.Last.Add(p.Every), true
	}
	return time.Time{}, false
}

// Ring is the bell after it has rung at a time.
func (b Bell) Ring(at time.Time) Bell {
	if b.Rings > 0 && b.Snoozed.After(b.Last) && !at.Before(b.Snoozed) {
		b.Rings = 0
	}
	b.Rings++
	b.Last = at
	return b
}

// Snooze puts the bell off until a time.
func (b Bell) Snooze(until time.Time) Bell { b.Snoozed = until; return b }

// pastStep is the further rise, in multiples, between two alerts that the target is past.
const pastStep = 0.25

// PastSteps is how many alerts of past are due by now at most: one at each further 0.25 of the multiple beyond the
// target. It is 0 while one of them is unknown.
func PastSteps(multiple rise.Num, target float64) int {
	m, ok := multiple.Get()
	if !ok || m <= target {
		return 0
	}
	return int((m-target)/pastStep + 1e-9) // so that 2.25 over 2.0 is one step for every float
}
