package rise

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// slowAfter is how long a dough must have stood before it is called slow, h: in the first hours it takes the room's
// temperature, and nothing tells a weak starter from a lag.
const slowAfter = 2.0

// decideSlow asks for slow where the forecast is later than planned, or than usual, for all its doubt, or gives the target
// up.
func (t *Tracker) decideSlow() bool {
	limit, bounded := t.limit()
	chance, known := t.outlook.prediction.Chance.Get()
	p10, seen := t.outlook.prediction.P10.Get()
	late := p10 - limit
	given := t.now.hours >= slowAfter && t.phase.phase != PhaseFalling && !t.alerts.latches[readyIs].on && t.base.known
	lost := known && chance < hopeless && t.now.hours >= 3
	ask := given && (lost || bounded && seen && late > lateHours)
	release := t.alerts.latches[readyIs].on || known && chance > 2*hopeless && (!bounded || seen && late < 0)
	changed := t.turn(slowIs, ask, release, news{1, t.now.hours, t.now.hours}, proof{n: 2}, func() string {
		if lost {
			return fmt.Sprintf("×%.2f may never come: %s.", t.run.Target, t.outlook.prediction.Reason)
		}
		return t.slowText(late)
	})
	if plan, planned := t.planHours(); changed && planned && !lost {
		l := &t.alerts.latches[slowIs]
		l.cond.ActingHelps = l.on && len(t.paceOf(plan).CanDo) > 0
	}
	return changed
}

// planHours is when the baker wants it, h of run time; false without a plan.
func (t *Tracker) planHours() (hours float64, ok bool) {
	if t.run.Plan.IsZero() || t.now.time.IsZero() {
		return 0, false
	}
	return t.now.hours + t.run.Plan.Sub(t.now.time).Hours(), true
}

// limit is the run time by which it is to be ready, h: the plan's, or without one the latest that is usual for a dough of
// its starter and temperature. It is false where neither is known.
func (t *Tracker) limit() (hours float64, ok bool) {
	if limit, planned := t.planHours(); planned {
		return limit, true
	}
	c, warm := t.expectedC()
	if t.run.Kind != RunDough || !warm {
		return 0, false
	}
	_, to, ok := UsualRange(t.run, c)
	return to, ok
}

// slowText says how late it is, why, and what can still be done.
func (t *Tracker) slowText(late float64) string {
	var said []string
	limit, planned := t.planHours()
	if planned {
		said = append(said, fmt.Sprintf("Slower than you planned: %s late at the best.", lasting(late)))
	}
	pace := t.paceOf(limit)
	said = append(said, pace.Text)
	said = append(said, pace.CanDo...)
	return strings.Join(slices.DeleteFunc(said, func(s string) bool { return s == "" }), " ")
}

// expectedC is the mean temperature from the start to the median of the forecast, if it stays as it is now, °C.
func (t *Tracker) expectedC() (c float64, ok bool) {
	mean, known := t.temps.mean().Get()
	now, seen := t.temps.now.Get()
	if !known || !seen {
		return 0, false
	}
	p50 := t.outlook.prediction.P50.Or(t.now.hours)
	if p50 <= t.now.hours || p50 <= 0 {
		return mean, true
	}
	gone := t.now.hours / p50
	return gone*mean + (1-gone)*now, true
}

// paceOf judges the forecast against a limit, h; 0 is the usual range.
func (t *Tracker) paceOf(limit float64) Pace {
	p := &t.outlook.prediction
	p50, known := p.P50.Get()
	c, warm := t.expectedC()
	if !known || !warm {
		return Pace{}
	}
	run := t.run
	if run.Kind == RunStarter {
		run.SaltPct = Known(run.SaltPct.Or(0))
	}
	return PaceOf(run, p.P10.Or(p50), p50, p.P90.Or(math.Inf(1)), t.now.hours, c, limit)
}
