// Package prose says numbers and times the way a baker reads them: "×1.85 ± 0.04", "ready about 06:40, not before
// 06:10". Times are shown in the machine's zone; what is unknown is said to be.
package prose

import (
	"fmt"
	"math"
	"strings"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Multiple is a multiple with twice its standard uncertainty: "×1.85 ± 0.04".
func Multiple(m, u rise.Num) string {
	v, ok := m.Get()
	if !ok {
		return "no multiple yet"
	}
	if s, ok := u.Get(); ok {
		return fmt.Sprintf("×%.2f ± %.2f", v, 2*s)
	}
	return fmt.Sprintf("×%.2f", v)
}

// Target is a target: "×2", "×1.75".
func Target(v float64) string { return fmt.Sprintf("×%.3g", v) }

// Rate is a rate in percent of the base volume per hour: "+12 %/h"; "" if it is unknown.
func Rate(r rise.Num) string {
	v, ok := r.Get()
	if !ok {
		return ""
	}
	v = math.Round(v)
	if v == 0 {
		return "0 %/h" // not −0
	}
	return strings.Replace(fmt.Sprintf("%+.0f %%/h", v), "-", "−", 1)
}

// Celsius is a temperature: "23.4 °C".
func Celsius(c rise.Num) string {
	v, ok := c.Get()
	if !ok {
		return "unknown"
	}
	if math.Abs(v) < 0.05 {
		v = 0
	}
	return strings.Replace(fmt.Sprintf("%.1f °C", v), "-", "−", 1)
}

// Clock is a time as short as it can be said without a doubt: "06:40" within 12 hours of now, "Thu 06:40" within six
// days, else with its date.
func Clock(t, now time.Time) string {
	if t.IsZero() {
		return "unknown"
	}
	t, now = t.Local(), now.Local()
	away := t.Sub(now).Abs()
	switch {
	case away < 12*time.Hour:
		return t.Format("15:04")
	case away < 6*24*time.Hour:
		return t.Format("Mon 15:04")
	case t.Year() == now.Year():
		return t.Format("2 Jan 15:04")
	}
	return t.Format("2 Jan 2006 15:04")
}

// Span is a length of time: "8 h 12 min", "25 min", "20 s", "3 d 4 h".
func Span(d time.Duration) string {
	d = d.Abs()
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < time.Hour-30*time.Second:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 48*time.Hour:
		m := int(d.Round(time.Minute).Minutes())
		if m%60 == 0 {
			return fmt.Sprintf("%d h", m/60)
		}
		return fmt.Sprintf("%d h %d min", m/60, m%60)
	}
	h := int(d.Round(time.Hour).Hours())
	if h%24 == 0 {
		return fmt.Sprintf("%d d", h/24)
	}
	return fmt.Sprintf("%d d %d h", h/24, h%24)
}

// aboutNow is said where the likely time has come but the decision waits for another reading.
const aboutNow = "reaching its target about now"

// Ready says when the target is expected: "ready about 06:40, not before 06:10", or why no time is given.
func Ready(p api.Point, now time.Time) string {
	switch {
	case p.Phase == rise.PhaseReady:
		return "the target is reached"
	case p.ETAP50 != nil && !p.ETAP50.After(now):
		return aboutNow
	case p.ETAP50 != nil:
		said := "ready about " + Clock(*p.ETAP50, now)
		if p.ETAP10 != nil {
			said += ", not before " + Clock(*p.ETAP10, now)
		}
		if p.ETAP90 != nil {
			said += ", by " + Clock(*p.ETAP90, now) + " at the latest"
		}
		return said
	case p.ETAP10 != nil:
		return "perhaps ready, not before " + Clock(*p.ETAP10, now)
	case p.Reason != nil:
		return *p.Reason
	}
	return "no forecast yet"
}

// Jar is a jar's size in one line: "floor 142.0 ± 1.0 mm, cylinder 71.5 mm".
func Jar(j rise.Jar) string {
	floor := fmt.Sprintf("floor %.1f ± %.1f mm", j.FloorMM, 2*j.UFloorMM)
	switch j.Profile.Shape {
	case rise.ShapeCone:
		return fmt.Sprintf("%s, cone %.1f mm at the floor, lean %+.3f", floor, j.Profile.DiameterMM, j.Profile.Lean)
	case rise.ShapePoured:
		return fmt.Sprintf("%s, poured in %d points", floor, len(j.Profile.Points))
	}
	return fmt.Sprintf("%s, cylinder %.1f mm", floor, j.Profile.DiameterMM)
}
