package watch

import (
	"fmt"
	"time"

	"nightjar/notify/bell"
	"nightjar/rise"
)

// ringAgain rings anew for a ready alert that nobody has answered, as often and as far apart as the policy says. It is
// called with the lock held.
func (s *station) ringAgain() {
	if s.run == nil {
		return
	}
	for _, c := range s.est.Holds {
		rings := s.rings(c.Kind, c.Episode)
		if c.Kind != rise.AlertReady || len(rings) == 0 || rings[0].Level != rise.LevelWakes {
			continue
		}
		now, _ := s.w.now()
		at, ok := s.w.o.Policy.Next(s.bell(rings))
		if !ok || now.Wall.Before(at) {
			continue
		}
		n := len(rings) + 1
		s.issue(rise.Alert{
			Kind: c.Kind, Run: s.run.Number, Episode: c.Episode, N: n, Repeats: rings[0].ID, Text: s.againText(n),
		}, c.Since)
	}
}

// againText is what a repeated ring says: how it stands now.
func (s *station) againText(n int) string {
	text := fmt.Sprintf("Ring %d: the target of ×%.2f is reached and nobody has answered.", n, s.run.Target)
	if m, ok := s.est.Multiple.Get(); ok {
		text += fmt.Sprintf(" The sample is at ×%.2f now.", m)
	}
	return text
}

// bell is what has been rung for an alert so far, on the corrected clock.
func (s *station) bell(rings []rise.Alert) bell.Bell {
	line := s.w.o.Store.Timeline()
	b := bell.Bell{Kind: rings[0].Kind, Silent: s.takenOut(rings[0])}
	b.Snoozed = s.snoozed(rings)
	for _, r := range rings {
		at, _ := line.Wall(r.Issued.Stamp)
		if b.Last.Before(b.Snoozed) && !at.Before(b.Snoozed) {
			b.Rings = 0 // a snooze starts the count anew
		}
		b.Rings++
		b.Last = at
		b.Silent = b.Silent || !r.Acked.IsZero()
	}
	return b
}

// snoozed is until when somebody has put the bell off; zero is not at all.
func (s *station) snoozed(rings []rise.Alert) (until time.Time) {
	line := s.w.o.Store.Timeline()
	for _, a := range s.actions {
		if a.Kind != rise.ActionSnooze || a.At.Before(rings[0].Issued.Stamp) {
			continue
		}
		mine := a.Alert == ""
		for _, r := range rings {
			mine = mine || a.Alert == r.ID
		}
		if at, _ := line.Wall(a.At.Stamp); mine && at.Add(time.Duration(a.Minutes)*time.Minute).After(until) {
			until = at.Add(time.Duration(a.Minutes) * time.Minute)
		}
	}
	return until
}

// liftedAfter is how many ticks in a row without the sample in view, after ready, are a jar taken out and not a hand.
const liftedAfter = 4

// takenOut reports whether the jar was taken out after the alert was issued.
func (s *station) takenOut(ready rise.Alert) bool {
	return s.lifted >= liftedAfter || s.awayAt.At > 0 && !s.awayAt.Before(ready.Issued.Stamp)
}

// watchJar notices that the jar is taken out after ready, asks once whether the dough is, and silences the bell. It is
// called with the lock held, before anything is rung.
func (s *station) watchJar(r rise.Reading) {
	since, ready := s.readySince()
	if !ready || s.inView(r) {
		s.lifted = 0
		return
	}
	s.lifted++
	asked := s.awayAt.At > 0 && !s.awayAt.Before(since)
	if s.lifted < liftedAfter || asked {
		return
	}
	if _, ok := s.issue(rise.Alert{Kind: rise.AlertAway, Episode: s.aways + 1, Level: rise.LevelQuiet,
		Text: "The jar was taken out and the bell is silent. Is the dough taken out too? Then end the run."}, r.Time); ok {
		s.aways++
		s.awayAt = r.Stamp
	}
}

// readySince is when ready was first rung for as long as it holds; false if it does not hold.
func (s *station) readySince() (rise.Stamp, bool) {
	if s.run == nil {
		return rise.Stamp{}, false
	}
	for _, c := range s.est.Holds {
		if rings := s.rings(c.Kind, c.Episode); c.Kind == rise.AlertReady && len(rings) > 0 {
			return rings[0].Issued.Stamp, true
		}
	}
	return rise.Stamp{}, false
}

// inView reports whether the reading saw the sample at a level at which a sample can be.
func (s *station) inView(r rise.Reading) bool {
	mm, ok := r.RangeMM.Get()
	if !ok {
		return r.Fault != rise.FaultView // a sensor that fails says nothing of the jar
	}
	return s.jar.FloorMM == 0 || mm < s.jar.FloorMM-2
}

func (s *station) holds(kind rise.AlertKind) bool {
	for _, c := range s.est.Holds {
		if c.Kind == kind {
			return true
		}
	}
	return false
}

// sayGoodNight sends the bedtime message of a dough's run when it is due. It is called with the lock held.
func (s *station) sayGoodNight() {
	if s.run == nil || s.run.Kind != rise.RunDough || s.holds(rise.AlertReady) {
		return
	}
	now, q := s.w.now()
	if q != rise.TimeSynced {
		return // nobody knows whether it is bedtime
	}
	local := now.Wall.In(s.w.o.Zone)
	f := s.est.Forecast
	o := bell.Outlook{Reason: f.Reason, Earliest: s.local(f.P10), Likely: s.local(f.P50), Latest: s.local(f.P90)}
	var last bell.Sent
	sent := 0
	for _, a := range s.alerts {
		if a.Kind == rise.AlertBedtime {
			last = bell.Sent{At: a.Issued.Wall.In(s.w.o.Zone), Latest: a.Latest}
			sent++
		}
	}
	if !s.w.o.Policy.BedtimeDue(o, last, local) {
		return
	}
	o.Armed, o.Why = s.w.CanWake()
	s.issue(rise.Alert{Kind: rise.AlertBedtime, Run: s.run.Number, Episode: sent + 1, Text: o.Text(), Latest: f.P90}, now.Wall)
}

func (s *station) local(t time.Time) time.Time {
	if t.IsZero() {
		return t
	}
	return t.In(s.w.o.Zone)
}
