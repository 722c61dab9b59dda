package replay

import (
	"fmt"
	"io"
	"strings"
	"time"

	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

// text prints a table for people. Times are in the machine's zone, or elapsed where the recording has none.
type text struct {
	w       io.Writer
	every   time.Duration
	started time.Time
	elapsed bool
}

func (t *text) begin(file string, c rise.Case) error {
	t.started = c.Run.Started.Wall
	t.elapsed = t.started.Year() <= 1970 // times in seconds from the start
	var lasted time.Duration
	if n := len(c.Readings); n > 0 {
		lasted = c.Readings[n-1].Time.Sub(c.Readings[0].Time)
	}
	_, err := fmt.Fprintf(t.w, "%s: %d readings over %s, target %s\n\n%8s  %8s  %-15s  %10s  %-9s  %s\n", file, len(c.Readings), prose.Span(lasted),
		prose.Target(c.Run.Target), "time", "level mm", "multiple", "rate", "phase", "forecast")
	return err
}

func (t *text) line(l Line, _ rise.Reading) error {
	row := fmt.Sprintf("%8s  %8s  %-15s  %10s  %-9s  %s", t.clock(l.Time, l.Time), l.LevelMM.Text(1), multiple(l), prose.Rate(l.RatePctH), l.Phase, t.ready(l))
	_, err := fmt.Fprintln(t.w, strings.TrimRight(row, " "))
	for _, a := range l.Alerts {
		if err == nil {
			_, err = fmt.Fprintf(t.w, "%8s  * %s: %s\n", t.clock(a.Time, l.Time), a.Kind, a.text)
		}
	}
	return err
}

func multiple(l Line) string {
	if !l.Multiple.IsKnown() {
		return ""
	}
	return prose.Multiple(l.Multiple, l.MultipleU)
}

// ready is the forecast of a line.
func (t *text) ready(l Line) string {
	if !t.elapsed {
		return prose.Ready(l.Point, l.Time)
	}
	p := l.Point
	if p.ETAP50 == nil || p.Phase == rise.PhaseReady || !p.ETAP50.After(p.Time) {
		return prose.Ready(p, p.Time)
	}
	said := "ready about " + t.clock(*p.ETAP50, p.Time)
	if p.ETAP10 != nil {
		said += ", not before " + t.clock(*p.ETAP10, p.Time)
	}
	return said
}

// clock is a time of day, or hours and minutes from the start where the recording knows no time of day.
func (t *text) clock(at, now time.Time) string {
	if !t.elapsed {
		return prose.Clock(at, now)
	}
	m := int(at.Sub(t.started).Round(time.Minute).Minutes())
	return fmt.Sprintf("%d:%02d", m/60, m%60)
}

func (t *text) end(s Summary) error {
	var b strings.Builder
	b.WriteString("\n")
	if base, ok := s.BaseMM.Get(); ok {
		fmt.Fprintf(&b, "base level  %.1f ± %.1f mm\n", base, 2*s.UBaseMM.Or(0))
	} else {
		b.WriteString("base level  not found: the sample never settled\n")
	}
	if s.TargetTime != nil {
		fmt.Fprintf(&b, "target      %s reached at %s, %s after the start\n", prose.Target(s.Target), t.clock(*s.TargetTime, *s.TargetTime), span(s.TargetH))
	} else {
		fmt.Fprintf(&b, "target      %s not reached\n", prose.Target(s.Target))
	}
	if s.PeakTime != nil {
		fmt.Fprintf(&b, "peak        ×%.2f at %s\n", s.PeakMultiple.Or(0), t.clock(*s.PeakTime, *s.PeakTime))
	}
	for _, f := range s.Forecasts {
		fmt.Fprintf(&b, "at %2.0f %%     %s: %s\n", 100*f.Progress, t.clock(f.Time, f.Time), t.stood(f))
	}
	b.WriteString("\n")
	_, err := io.WriteString(t.w, b.String())
	return err
}

// stood is a forecast as it stood.
func (t *text) stood(f Forecast) string {
	switch {
	case f.ETAP50 != nil && f.ETAP10 != nil && f.ETAP90 != nil:
		return fmt.Sprintf("%s (%s to %s)", t.clock(*f.ETAP50, f.Time), t.clock(*f.ETAP10, f.Time), t.clock(*f.ETAP90, f.Time))
	case f.ETAP50 != nil:
		return t.clock(*f.ETAP50, f.Time)
	case f.Reason != nil:
		return *f.Reason
	}
	return "no forecast yet"
}

func span(hours rise.Num) string {
	return prose.Span(time.Duration(hours.Or(0) * float64(time.Hour)))
}
