package demo

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/notify"
	"nightjar/rise"
)

// teller writes the night down as it goes.
type teller struct {
	w    io.Writer
	live bool
	zone *time.Location

	mu    sync.Mutex
	shown int // width of the live line on the screen, 0 if there is none
}

// line writes a line that stays.
func (t *teller) line(format string, args ...any) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.wipe()
	fmt.Fprintf(t.w, format+"\n", args...)
}

// update replaces the live line.
func (t *teller) update(s string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.wipe()
	fmt.Fprint(t.w, s)
	t.shown = len([]rune(s))
}

// wipe clears the live line. It is called with the lock held.
func (t *teller) wipe() {
	if t.shown > 0 {
		fmt.Fprintf(t.w, "\r%s\r", strings.Repeat(" ", t.shown))
		t.shown = 0
	}
}

// clock is a time of day in the teller's zone.
func (t *teller) clock(at time.Time) string { return at.In(t.zone).Format("15:04") }

// opening says what is about to be seen.
func (t *teller) opening(n *night, runs []rise.Run) {
	t.line("A simulated night: %s, in a kitchen of our own. Simulated chips, real drivers, real store, real broker.", n.world.Name)
	for _, r := range runs {
		s := n.world.Station(r.Station)
		t.line("Station %s: %s looks down %.0f mm into %q; target %s. Run %d began at %s.", r.Station,
			strings.ToUpper(s.Chip), s.Jar.FloorMM, s.Jar.Name, prose.Target(r.Target), r.Number, t.clock(r.Started.Wall))
	}
	if n.o.Dir != "" {
		t.line("Kept in %s: a demo that is killed goes on from there.", n.dir)
	}
	t.line("A phone is subscribed to nightjar/demo/+/alert at %s.\n", n.up.Broker)
}

// standing says how each station stands now.
func (t *teller) standing(n *night, runs []rise.Run) {
	var parts []string
	for _, r := range runs {
		s, err := n.status(r)
		if err != nil {
			t.line("%v", err)
			return
		}
		parts = append(parts, t.station(n, r, s, len(runs) > 1))
	}
	if !t.live {
		for _, p := range parts {
			t.line("%s", p)
		}
		return
	}
	t.update(bar(n) + "  " + strings.Join(parts, "   "))
}

// barWidth is the length of the bar that shows how much of the night is over.
const barWidth = 16

// bar shows how much of the night is over.
func bar(n *night) string {
	full := min(barWidth, int(barWidth*n.world.Elapsed()/n.world.Length))
	return "[" + strings.Repeat("#", full) + strings.Repeat(".", barWidth-full) + "]"
}

// station is how a station stands, in a line.
func (t *teller) station(n *night, r rise.Run, s api.StationStatus, named bool) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s  ", t.clock(n.clock.Wall()))
	if named {
		fmt.Fprintf(&b, "%s  ", r.Station)
	}
	fmt.Fprintf(&b, "%-13s  %-8s", multiple(s.Point), s.Phase)
	if c := s.JarC; c.IsKnown() {
		fmt.Fprintf(&b, "  %s", prose.Celsius(c))
	} else {
		fmt.Fprint(&b, "  no probe")
	}
	return b.String() + "  " + t.ready(s.Point)
}

// multiple is the multiple, or a word where there is none yet.
func multiple(p api.Point) string {
	if !p.Multiple.IsKnown() {
		return "×?"
	}
	return prose.Multiple(p.Multiple, p.MultipleU)
}

// ready is the forecast in the teller's zone.
func (t *teller) ready(p api.Point) string {
	switch {
	case p.Phase == rise.PhaseReady, p.Phase == rise.PhasePeaked, p.Phase == rise.PhaseFalling:
		return ""
	case p.ETAP50 == nil && p.Reason != nil:
		return *p.Reason
	case p.ETAP50 == nil:
		return "no forecast yet"
	case p.ETAP10 == nil || p.ETAP90 == nil:
		return "ready about " + t.clock(*p.ETAP50)
	}
	return fmt.Sprintf("ready about %s (%s to %s)", t.clock(*p.ETAP50), t.clock(*p.ETAP10), t.clock(*p.ETAP90))
}

// received shows what the phone got.
func (t *teller) received(n *night, topic string, m notify.Message) {
	at := "at an unknown time"
	if m.Time != nil {
		at = t.clock(*m.Time)
	}
	bell := ""
	if m.Level == rise.LevelWakes {
		bell = "  ** it rings **"
	}
	t.line("\n  phone %s  %s%s\n  %s\n  %s %s\n", at, strings.ToUpper(string(m.Kind)), bell, m.Text, topic, m.JSON())
}

// closing says how well the night was told.
func (t *teller) closing(n *night, runs []rise.Run) {
	t.line("\nSummary at %s, after %s:", t.clock(n.clock.Wall()), prose.Span(n.world.Elapsed()))
	for _, r := range runs {
		s := n.world.Station(r.Station)
		truth := s.True(n.world.Elapsed())
		status, err := n.status(r)
		if err != nil {
			t.line("%v", err)
			continue
		}
		t.line("  station %s: %s measured, ×%.2f in truth", r.Station, multiple(status.Point), truth.Multiple)
		if at, ok := s.TimeTo(r.Target); ok {
			t.line("  the sample truly reaches %s at %s", prose.Target(r.Target), t.clock(n.world.Start.Add(at)))
			if main, ok := s.MainTimeTo(r.Target); ok && s.DoughProbe != "" {
				t.line("  the main dough, which cools more slowly, truly reaches it at %s", t.clock(n.world.Start.Add(main)))
			}
			t.forecasts(n, r, n.world.Start.Add(at))
		} else {
			t.line("  the sample never reaches %s in this night", prose.Target(r.Target))
		}
	}
}

// forecasts says what was forecast at a quarter, a half and three quarters of the rise.
func (t *teller) forecasts(n *night, r rise.Run, truth time.Time) {
	series, err := n.up.Desk.Series(n.ctx, r.Number, time.Minute)
	if err != nil {
		t.line("%v", err)
		return
	}
	for _, share := range []float64{0.25, 0.5, 0.75} {
		level := 1 + share*(r.Target-1)
		for _, p := range series.Points {
			if m, ok := p.Multiple.Get(); !ok || m < level {
				continue
			}
			if p.ETAP50 == nil {
				t.line("  at %2.0f %% of the rise (%s): %s", 100*share, t.clock(p.Time), t.ready(p))
			} else {
				t.line("  at %2.0f %% of the rise (%s): %s, off by %+.0f min", 100*share, t.clock(p.Time), t.ready(p), p.ETAP50.Sub(truth).Minutes())
			}
			break
		}
	}
}
