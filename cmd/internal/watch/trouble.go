package watch

import (
	"time"

	"nightjar/rise"
)

// faultAfter is how long a station must be without a usable range before that is an alert: a hand, a lid, a wiped
// window are none.
const faultAfter = 5 * time.Minute

// trouble is what is known of a station's ranger not giving ranges.
type trouble struct {
	text    string // in words for a person; empty while all is well
	since   time.Duration
	alerted bool
	number  int // the episode of the newest fault alert
}

// resume learns from the store whether a fault alert is open.
func (t *trouble) resume(s *station) error {
	alerts, err := s.w.o.Store.Alerts(s.Name, 0)
	if err != nil {
		return err
	}
	restored := 0
	for _, a := range alerts {
		switch a.Kind {
		case rise.AlertFault:
			t.number = max(t.number, a.Episode)
		case rise.AlertRestored:
			restored = max(restored, a.Episode)
		}
	}
	t.alerted = t.number > restored
	return nil
}

// noteTrouble keeps the station's fault, its alert and the alert of its end. It is called with the lock held.
func (s *station) noteTrouble(r rise.Reading, err error) {
	t := &s.trouble
	if r.Fault == rise.FaultNone {
		t.text = ""
		if s.w.health.clear("ranger", s.Name) {
			s.w.log.Info("the ranger works again", "station", s.Name)
		}
		if t.alerted && s.issue(0, episode{rise.AlertRestored, t.number}, rise.AlertRestored.Level(), "The distance sensor works again.") {
			t.alerted = false
		}
		return
	}
	if t.text == "" {
		t.since = r.At
	}
	t.text = faultText(r, err)
	if s.w.health.raise("ranger", s.Name, t.text) {
		s.w.log.Warn("no usable range", "station", s.Name, "fault", r.Fault, "statuses", r.Statuses, "err", err)
	}
	if !t.alerted && r.At-t.since >= faultAfter &&
		s.issue(0, episode{rise.AlertFault, t.number + 1}, rise.AlertFault.Level(), t.text) {
		t.alerted = true
		t.number++
	}
}

// faultText is a fault in words for a person, with what to do.
func faultText(r rise.Reading, err error) string {
	switch r.Fault {
	case rise.FaultView:
		return viewText(r.Burst)
	case rise.FaultAbsent:
		return "The distance sensor does not answer: check its cable and its power (" + errText(err) + ")."
	case rise.FaultIdentity:
		return "Another chip than the configured one answers: correct the station's chip in the configuration (" + errText(err) + ")."
	case rise.FaultTimeout, rise.FaultHardware, rise.FaultStuck:
		return "The distance sensor does not work properly and is started again and again: check its supply (" + errText(err) + ")."
	}
	return "The sensor bus does not answer: check the wiring, or run nightjar check (" + errText(err) + ")."
}

// viewText says why a working sensor gave no good range.
func viewText(b rise.Burst) string {
	most, count := rise.StatusGood, uint16(0)
	for st, n := range b.Statuses {
		if n > count && rise.Status(st) != rise.StatusGood {
			most, count = rise.Status(st), n
		}
	}
	switch most {
	case rise.StatusTooNear:
		return "The distance sensor sees something too near: is the dough about to touch it, or does something lie on the lid?"
	case rise.StatusNoisy:
		return "The distance sensor sees the sample only poorly: keep direct light away and wipe its window."
	case rise.StatusHardware:
		return "The distance sensor reports a fault of its own: check its supply."
	}
	return "The distance sensor sees nothing: is the jar in place, and is its window clean?"
}
