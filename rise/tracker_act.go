package rise

import "math"

// Act takes what a person did, in the order of time with the readings. Where Backdates says that an action reaches back
// before readings that were already added, fold the run anew.
func (t *Tracker) Act(a Action) {
	switch a.Kind {
	case ActionStart, ActionNote:
		t.main.see(t.now.hours, a.DoughC, &t.temps)
	case ActionRebase:
		t.ask = ""
		t.rebase(a.LevelMM)
	case ActionIgnore:
		t.ask = ""
		t.ignored = append(t.ignored, span{a.From, a.To})
	case ActionMark:
		t.mark(a.Mark)
	case ActionEnd:
		t.ended = true
		t.alerts.held = nil
	}
}

// Backdates reports whether an action changes what was known at readings that were already added, so that the run must
// be folded anew with it.
func (t *Tracker) Backdates(a Action) bool {
	switch a.Kind {
	case ActionIgnore:
		return a.From.IsZero() || a.From.Before(t.now.time)
	case ActionNote:
		return a.DoughC.IsKnown() && a.moment().Before(t.clock.last)
	case ActionRebase, ActionMark, ActionEnd:
		return a.moment().Before(t.clock.last)
	}
	return false
}

// moment is the stamp at which an action counts.
func (a Action) moment() Stamp {
	if a.When.IsZero() {
		return a.At.Stamp
	}
	return a.When.Stamp
}

// rebase makes a level the base, or that of the sample now.
func (t *Tracker) rebase(level Num) {
	s := t.gate.smooth
	switch v, ok := level.Get(); {
	case ok && v >= 1:
		t.base.give(v, defaultUBaseMM*defaultUBaseMM, t.now.hours)
	case s.begun && s.x >= 1:
		t.base.set(s.x, s.pxx+t.gate.rounding, t.now.hours)
	default:
		return
	}
	t.renew()
}

// yieldHours is how long after a person worked on the sample a step of its level is taken as it is, h.
const yieldHours = 0.25

// mark takes note of work on the dough.
func (t *Tracker) mark(mark string) {
	t.yields = t.now.hours + yieldHours
	switch mark {
	case "chilled":
		t.alerts.chilled = true
	case "mixed", "folded", "divided", "shaped":
		t.alerts.chilled = false
		t.renew()
	}
}

// renew forgets the peak, which was another dough's, and gives up what was on the way to be told.
func (t *Tracker) renew() {
	t.phase.forget()
	t.course.crossed = Num{}
	t.course.any = false
	t.outlook.next = math.Min(t.outlook.next, t.now.hours)
}
