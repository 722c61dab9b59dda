package watch

import (
	"fmt"

	"nightjar/notify/bell"
	"nightjar/rise"
)

// CanWake reports whether some route has been shown to reach a person, by a test that somebody acknowledged, and if not
// why.
func (w *Watch) CanWake() (bool, string) {
	var proofs []bell.Proof
	for _, s := range w.stations {
		alerts, err := w.o.Store.Alerts(s.Name, 0)
		if err != nil {
			return false, fmt.Sprintf("the store cannot say: %v", err)
		}
		for _, a := range alerts {
			if a.Kind != rise.AlertTest || a.Acked.IsZero() {
				continue
			}
			for route, config := range a.Setup {
				proofs = append(proofs, bell.Proof{Route: route, Config: config, Acked: a.Acked.Wall})
			}
		}
	}
	now, _ := w.now()
	return bell.Reach(w.o.Routes, proofs, now.Wall)
}

// Test issues a test alert on every route and returns it. Whoever gets it is asked to acknowledge it.
func (w *Watch) Test() (rise.Alert, error) {
	s := w.stations[0]
	s.mu.Lock()
	defer s.mu.Unlock()
	alerts, err := w.o.Store.Alerts(s.Name, 0)
	if err != nil {
		return rise.Alert{}, err
	}
	n := 0
	for _, a := range alerts {
		if a.Kind == rise.AlertTest {
			n = max(n, a.Episode)
		}
	}
	now, q := w.now()
	a, _, err := w.o.Store.Issue(rise.Alert{
		Kind: rise.AlertTest, Level: rise.LevelWakes, Station: s.Name, Episode: n + 1, N: 1, Issued: now, Quality: q, Setup: w.o.Routes,
		Text: "This is a test of nightjar's bell. Acknowledge it, so that it is known to reach you.",
	}, w.routes)
	if err == nil && w.o.Publisher != nil {
		w.o.Publisher.Alert(a)
	}
	return a, err
}
