package rise

import (
	"fmt"
	"math"
)

// usualSpread is how far usual doughs scatter about the usual time: 10 % prefermented flour at room temperature takes
// 10 to 14 h (common practice, no source).
const usualSpread = 0.17

// UsualRange is how long a dough usually takes from mixing to its target, h, at a steady temperature, for its run's
// inoculation, hydration and salt. It is false where the inoculation is unknown or nothing grows.
func UsualRange(r Run, tempC float64) (fromH, toH float64, ok bool) {
	m, known := mixOf(r)
	if !known || !(r.Target > 1) || SourdoughYeast().Rate(tempC) == 0 {
		return 0, 0, false
	}
	mid := UsualHours(m.inoculation, m.hydration, m.salt, tempC, r.Target)
	return mid * math.Exp(-usualSpread), mid * math.Exp(usualSpread), true
}

// Cause is what makes a dough slow or fast.
type Cause string

// The causes that rise and temperature can tell apart.
const (
	CauseTemperature Cause = "temperature"
	CauseStarter     Cause = "starter"
)

// Pace is whether a dough is slow or fast, and why.
type Pace struct {
	// Slow and Fast are both false for a usual dough.
	Slow  bool  `json:"slow"`
	Fast  bool  `json:"fast"`
	Cause Cause `json:"cause,omitempty"`
	// Text says it in one or two sentences, CanDo what can still be done.
	Text  string   `json:"text,omitempty"`
	CanDo []string `json:"can_do,omitempty"`
}

// roomC is the room temperature that common practice speaks of, °C.
const roomC = 22.0

// PaceOf judges a forecast: p10, p50 and p90 are the hours from mixing to the target, nowH those gone by, meanC the
// dough's mean temperature. limitH is the latest that was planned, h; 0 is none: then the usual range decides.
func PaceOf(r Run, p10, p50, p90, nowH, meanC, limitH float64) Pace {
	from, to, ok := UsualRange(r, meanC)
	if !ok {
		return Pace{}
	}
	late := to
	if limitH > 0 {
		late = limitH
	}
	mid := math.Sqrt(from * to)
	switch {
	case p10 > late:
		return slowPace(r, p50, nowH, meanC, mid)
	case p90 < from && limitH == 0:
		return fastPace(p50, meanC, from, to)
	}
	return Pace{}
}

// slowPace tells temperature from starter by which of the two takes more of the time.
func slowPace(r Run, p50, nowH, meanC, mid float64) Pace {
	m, _ := mixOf(r)
	room := UsualHours(m.inoculation, m.hydration, m.salt, roomC, r.Target)
	p := Pace{Slow: true, Cause: CauseStarter}
	left := max(0, p50-nowH)
	if mid/room > p50/mid {
		p.Cause = CauseTemperature
		p.Text = fmt.Sprintf("It is slow because it is cool: %.0f °C makes %.0f h of what is usually %.0f h at %.0f °C.", meanC, p50, room, roomC)
	} else {
		p.Text = fmt.Sprintf("It is slow for its starter: at %.0f °C %.0f h is usual for %.0f %% prefermented flour, and this dough takes about %.0f h.", meanC, mid, m.inoculation, p50)
	}
	yeast := SourdoughYeast()
	const warm = 26.0
	if gain := left * (1 - yeast.Rate(meanC)/yeast.Rate(warm)); meanC < warm-1 && gain > 0.25 {
		p.CanDo = append(p.CanDo, fmt.Sprintf("Move it to %.0f °C: that saves about %s of the %s left.", warm, lasting(gain), lasting(left)))
	}
	p.CanDo = append(p.CanDo, "Or give it the time it needs, and bake later.")
	if p.Cause == CauseStarter {
		p.CanDo = append(p.CanDo, "Feed the starter two or three times in a row before the next dough.")
	}
	return p
}

func fastPace(p50, meanC, from, to float64) Pace {
	p := Pace{Fast: true, Cause: CauseStarter}
	p.Text = fmt.Sprintf("It is fast: about %.1f h, usual at %.0f °C is %.0f to %.0f h.", p50, meanC, from, to)
	p.CanDo = []string{"Keep it cooler, or take it at its target whatever the clock says.", "Less starter next time, if the hour did not suit."}
	return p
}
