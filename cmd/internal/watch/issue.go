package watch

import (
	"fmt"
	"time"

	"nightjar/rise"
)

// episode identifies an alert within a run.
type episode struct {
	kind    rise.AlertKind
	episode int
}

// issueHeld issues the alerts whose condition holds now and that were not issued before. It is called with the lock
// held.
func (s *station) issueHeld() {
	if s.run == nil {
		return
	}
	for _, c := range s.est.Holds {
		key := episode{c.Kind, c.Episode}
		if s.issued[key] {
			continue
		}
		if s.issue(s.run.Number, key, c.Kind.Level(), c.Text+s.unseen(c)) {
			s.issued[key] = true
		}
	}
}

// issue stores an alert for delivery. False means that it could not be stored and must be tried again.
func (s *station) issue(run int, key episode, level rise.AlertLevel, text string) bool {
	now, q := s.w.now()
	a, fresh, err := s.w.o.Store.Issue(rise.Alert{
		Kind: key.kind, Level: level, Station: s.Name, Run: run, Episode: key.episode, Issued: now, Quality: q, Text: text, N: 1,
	}, s.w.o.Routes)
	if err != nil {
		s.w.storeTrouble(err)
		return false
	}
	if fresh {
		s.w.log.Info("alert", "station", s.Name, "run", run, "kind", key.kind, "id", a.ID, "text", text)
		if s.w.o.Publisher != nil {
			s.w.o.Publisher.Kick()
		}
	}
	return true
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
