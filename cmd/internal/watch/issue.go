package watch

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"nightjar/notify/bell"
	"nightjar/rise"
)

// issueHeld issues the alerts whose condition holds now and that were not issued before. It is called with the lock
// held.
func (s *station) issueHeld() {
	if s.run == nil {
		return
	}
	for _, c := range s.est.Holds {
		if len(s.rings(c.Kind, c.Episode)) == 0 {
			s.issue(rise.Alert{Kind: c.Kind, Run: s.run.Number, Episode: c.Episode, Text: c.Text + s.unseen(c), Level: s.levelOf(c)}, c.Since)
		}
	}
}

// rings are the alerts of the open run issued for an episode of a condition, in order.
func (s *station) rings(kind rise.AlertKind, episode int) (rings []rise.Alert) {
	for _, a := range s.alerts {
		if a.Kind == kind && a.Episode == episode {
			rings = append(rings, a)
		}
	}
	slices.SortFunc(rings, func(a, b rise.Alert) int { return cmp.Compare(a.N, b.N) })
	return rings
}

// issue stores an alert for delivery: kind, run, episode, ring and text are given, and since when its condition holds;
// its level and the time at which it may be told follow from the policy. False means that it could not be stored and
// must be tried again.
func (s *station) issue(a rise.Alert, since time.Time) (rise.Alert, bool) {
	now, q := s.w.now()
	a.Station, a.Issued, a.Quality, a.N = s.Name, now, q, max(a.N, 1)
	if a.Level == "" {
		a.Level = s.level(a.Kind, since, now.Wall)
	}
	if q == rise.TimeSynced { // a clock that is not set knows no morning
		if due := s.w.o.Policy.Due(a.Level, now.Wall.In(s.w.o.Zone)); due.After(now.Wall) && a.Kind != rise.AlertBedtime {
			a.NotBefore = due.UTC()
		}
	}
	a, fresh, err := s.w.o.Store.Issue(a, s.w.routes)
	if err != nil {
		s.w.storeTrouble(err)
		return a, false
	}
	if a.Run != 0 {
		s.alerts = append(s.alerts, a)
	}
	if fresh {
		s.w.log.Info("alert", "station", s.Name, "run", a.Run, "kind", a.Kind, "level", a.Level, "id", a.ID, "text", a.Text)
		if s.w.o.Publisher != nil {
			s.w.o.Publisher.Alert(a)
		}
	}
	return a, true
}

// levelOf is how loudly to tell of a condition now.
func (s *station) levelOf(c rise.Condition) rise.AlertLevel {
	now, _ := s.w.now()
	return s.judge(bell.Situation{Kind: c.Kind, Since: c.Since, ActingHelps: c.ActingHelps}, now.Wall)
}

// level is how loudly to tell an alert that is no condition of the run.
func (s *station) level(kind rise.AlertKind, since, now time.Time) rise.AlertLevel {
	return s.judge(bell.Situation{Kind: kind, Since: since}, now)
}

func (s *station) judge(situation bell.Situation, now time.Time) rise.AlertLevel {
	situation.RunKind, situation.Early = rise.RunDough, s.est.Forecast.P10
	if s.run != nil {
		situation.RunKind = s.run.Kind
	}
	return s.w.o.Policy.Level(situation, now.In(s.w.o.Zone))
}

// unseen is what to add to an alert whose condition came to hold in an outage: when that was and why.
func (s *station) unseen(c rise.Condition) string {
	if !c.Unseen {
		return ""
	}
	cause := "nothing was watched"
	if s.gap.crossed {
		cause = "power was off"
	}
	if c.UnseenFrom.IsZero() || c.UnseenTo.IsZero() {
		return " Before this, " + cause + " for an unknown time."
	}
	const clock = "15:04"
	from, to := c.UnseenFrom.In(s.w.o.Zone), c.UnseenTo.In(s.w.o.Zone)
	return fmt.Sprintf(" Between %s and %s, %s.", from.Format(clock), to.Format(clock), cause)
}

// gap knows whether the newest outage was a reboot.
type gap struct {
	last    rise.Stamp // of the reading before
	crossed bool       // the newest gap worth a word spans a boot
}

// outage is how long no reading may be taken before it is worth a word.
const outage = 5 * time.Minute

// note looks at the time since the reading before.
func (g *gap) note(r rise.Reading) {
	prev := g.last
	g.last = r.Stamp
	switch {
	case prev.IsZero():
	case prev.Boot != r.Boot:
		g.crossed = true
	case r.At-prev.At >= outage:
		g.crossed = false
	}
}
