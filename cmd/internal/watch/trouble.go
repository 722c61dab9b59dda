package watch

import (
	"context"
	"errors"
	"maps"
	"strings"
	"time"

	"nightjar/rise"
)

// faultAfter is how long a station must be without a usable range before that is an alert: a hand, a lid, a wiped
// window are none.
const faultAfter = 5 * time.Minute

// fogAfter is how long fog may lie on the window before that is an alert: most of it clears by itself, and the curve is
// held meanwhile.
const fogAfter = 30 * time.Minute

const fogText = "The distance sensor's window is fogged or dirty, and the curve is held: wipe it, and let the jar breathe."

// trouble is what is known of a station's ranger not giving ranges.
type trouble struct {
	text    string // in words for a person; empty while all is well
	since   rise.Reading
	alerted bool
	loud    bool   // the open fault alert wakes
	number  int    // the episode of the newest fault alert
	first   string // the id of the open fault alert
}

// resume learns from the store whether a fault alert is open, and how often the jar was taken away.
func (s *station) resumeTrouble() error {
	alerts, err := s.w.o.Store.Alerts(s.Name, 0)
	if err != nil {
		return err
	}
	t := &s.trouble
	restored := 0
	for _, a := range alerts {
		switch a.Kind {
		case rise.AlertFault:
			if t.number = max(t.number, a.Episode); a.Episode == t.number {
				t.loud = a.Level == rise.LevelWakes
			}
			if a.Episode == t.number && a.N == 1 {
				t.first = a.ID
			}
		case rise.AlertRestored:
			restored = max(restored, a.Episode)
		case rise.AlertAway:
			s.aways = max(s.aways, a.Episode)
			s.awayAt = a.Issued.Stamp
		}
	}
	t.alerted = t.number > restored
	return nil
}

// noteTrouble keeps the station's fault, its alert and the alert of its end. It is called with the lock held.
func (s *station) noteTrouble(r rise.Reading, err error) {
	t := &s.trouble
	fog := s.run != nil && s.est.SetAside == rise.AsideFog
	if r.Fault == rise.FaultNone && !fog {
		s.heal(r)
		return
	}
	if t.text == "" {
		t.since = r
	}
	after := faultAfter
	t.text = faultText(r, err)
	if r.Fault == rise.FaultNone {
		after, t.text = fogAfter, fogText
	}
	if s.w.health.raise("ranger", s.Name, t.text) {
		s.w.log.Warn("no usable range", "station", s.Name, "fault", r.Fault, "statuses", r.Statuses, "err", err)
	}
	if since := t.since; r.Boot == since.Boot && r.At-since.At >= after {
		s.tellTrouble(r)
	}
}

// tellTrouble issues the fault alert, and again once it has to wake.
func (s *station) tellTrouble(r rise.Reading) {
	t := &s.trouble
	root := ""
	if r.Fault == rise.FaultBus {
		root = s.Bus
	}
	switch {
	case !t.alerted && !s.w.claim(root, s.Name):
		// Another station on this bus has told of it.
	case !t.alerted:
		text := t.text
		if others := s.w.sharing(root, s.Name); others != "" {
			text += " The same goes for " + others + "."
		}
		if a, ok := s.issue(rise.Alert{Kind: rise.AlertFault, Episode: t.number + 1, Text: text}, t.since.Time); ok {
			t.number++
			t.alerted, t.loud, t.first = true, a.Level == rise.LevelWakes, a.ID
		}
	case !t.loud && s.level(rise.AlertFault, t.since.Time, r.Time) == rise.LevelWakes:
		_, t.loud = s.issue(rise.Alert{Kind: rise.AlertFault, Episode: t.number, N: 2, Repeats: t.first, Text: t.text +
			" The dough may be ready before the quiet hours end, and nothing is watching it."}, t.since.Time)
	}
}

// heal notes that the ranger works.
func (s *station) heal(r rise.Reading) {
	t := &s.trouble
	t.text = ""
	if s.w.health.clear("ranger", s.Name) {
		s.w.log.Info("the ranger works again", "station", s.Name)
	}
	s.w.release(s.Name)
	if !t.alerted {
		return
	}
	_, told := s.issue(rise.Alert{Kind: rise.AlertRestored, Episode: t.number, Text: "The distance sensor works again."}, r.Time)
	t.alerted = !told
}

// claim reports whether a station is the one that tells of a trouble that others share; an empty root is nobody else's.
func (w *Watch) claim(root, station string) bool {
	if root == "" {
		return true
	}
	w.claimsMu.Lock()
	defer w.claimsMu.Unlock()
	if by, ok := w.claims[root]; ok {
		return by == station
	}
	w.claims[root] = station
	return true
}

// release gives up a station's claims.
func (w *Watch) release(station string) {
	w.claimsMu.Lock()
	defer w.claimsMu.Unlock()
	maps.DeleteFunc(w.claims, func(_, by string) bool { return by == station })
}

// sharing names the other stations on a bus.
func (w *Watch) sharing(root, station string) string {
	var names []string
	for _, s := range w.stations {
		if root != "" && s.Bus == root && s.Name != station {
			names = append(names, s.Name)
		}
	}
	return strings.Join(names, ", ")
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

// errText is an error as part of a sentence for a person.
func errText(err error) string {
	if err == nil {
		return ""
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return "it took too long"
	}
	return err.Error()
}
