package rise

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// FeedAsk is a feeding to be planned so that the starter is near its peak when it is wanted. Zero fields take their
// defaults. The words of the answer show times in the zone of Now and Ripe.
type FeedAsk struct {
	Now  time.Time `json:"now"`
	Ripe time.Time `json:"ripe"`
	// HydrationPct is the starter's; 100 where unknown.
	HydrationPct Num `json:"hydration_pct,omitzero"`
	// Peak is the multiple it usually reaches (Expected.PeakMultiple); 2.2 where unknown.
	Peak Num `json:"peak,omitzero"`
	// MixC is the temperature of flour and water once mixed, °C; the room's where unknown.
	MixC Num `json:"mix_c,omitzero"`
	// Room is where it stands, TauH the time constant with which it follows the room, h; 1 by default.
	Room Room    `json:"room"`
	TauH float64 `json:"tau_h,omitempty"`
	// Speed is the starter's; UsualSpeed if zero, SpeedOf(nil, feedings) where it was watched.
	Speed Speed `json:"speed"`
}

// Check says why a feeding cannot be planned so; nil if it can.
func (a FeedAsk) Check() error {
	faults := []error{a.Room.Check()}
	if !a.Ripe.After(a.Now) {
		faults = append(faults, fmt.Errorf("%s is in the past: give a time to come", clockTime(a.Ripe)))
	}
	if h, ok := a.HydrationPct.Get(); ok {
		faults = append(faults, checkStarterHydration(h))
		if h > liquidNone {
			faults = append(faults, fmt.Errorf("at %.0f %% hydration a starter shows no rise to plan by", h))
		}
	}
	if p, ok := a.Peak.Get(); ok && !(p > 1.1 && p <= 10) {
		faults = append(faults, fmt.Errorf("a peak of ×%g cannot be: it must be above 1.1 and at most 10", p))
	}
	if c, ok := a.MixC.Get(); ok && !(c >= 0 && c <= 45) {
		faults = append(faults, fmt.Errorf("a mix of %g °C cannot be: it must be between 0 and 45", c))
	}
	if !(a.TauH >= 0 && a.TauH <= 48) {
		faults = append(faults, fmt.Errorf("a time constant of %g h cannot be: it must be between 0 and 48", a.TauH))
	}
	return errors.Join(faults...)
}

// FeedChoice is one way to feed.
type FeedChoice struct {
	// At is when, Parts the flour for each part of starter by mass; water goes by the hydration.
	At    time.Time `json:"at"`
	Parts float64   `json:"parts"`
	// P10, P50 and P90 are quantiles of the time at which it comes near its peak.
	P10  time.Time `json:"p10,omitzero"`
	P50  time.Time `json:"p50,omitzero"`
	P90  time.Time `json:"p90,omitzero"`
	Text string    `json:"text"`
}

// FeedPlan answers a FeedAsk.
type FeedPlan struct {
	Choices []FeedChoice `json:"choices"`
	Met     bool         `json:"met"`
	Why     string       `json:"why,omitempty"`
	Basis   string       `json:"basis"`
}

// The feedings that a plan looks at, parts of flour for one of starter: 1:1:1 to 1:10:10.
const leastParts, mostParts = 1.0, 10.0

// PlanFeed finds the feeding now, or the plain one later, that brings a starter near its peak when it is wanted.
func PlanFeed(a FeedAsk) (FeedPlan, error) {
	if err := a.Check(); err != nil {
		return FeedPlan{}, err
	}
	a.TauH = orDefault(a.TauH, 1)
	if a.Speed.Ratio == 0 {
		a.Speed = UsualSpeed()
	}
	p := FeedPlan{Met: true, Basis: a.Speed.From}
	have, _ := a.stand(a.Now).grown(a.Ripe)
	switch least, most := a.thermal(leastParts), a.thermal(mostParts); {
	case have < least:
		p.Met = false
		c := a.choice(a.Now, leastParts)
		p.Choices = []FeedChoice{c}
		p.Why = fmt.Sprintf("%s cannot be met: fed 1:1 now it comes near its peak about %s.", clockTime(a.Ripe), clockTime(c.P50))
	case have > most:
		p.Choices = append(p.Choices, a.later(mostParts), a.later(leastParts))
	default:
		p.Choices = append(p.Choices, a.choice(a.Now, a.partsFor(have)), a.later(leastParts))
	}
	return p, nil
}

func (a FeedAsk) stand(from time.Time) stand {
	return stand{from, a.MixC.Or(a.Room.At(from)), a.TauH, a.Room}
}

// mix is the fed starter.
func (a FeedAsk) mix(parts float64) mix {
	h := a.HydrationPct.Or(100)
	seed, _ := StarterParts(1, h)
	return mix{inoculation: 100 * seed / (seed + parts), hydration: h}
}

// thermal is the time to near the peak, in hours at 25 °C.
func (a FeedAsk) thermal(parts float64) float64 {
	near := 1 + NearShare*(a.Peak.Or(2.2)-1)
	return a.mix(parts).thermal(near) / a.Speed.Ratio
}

// partsFor is the feeding that takes so many hours at 25 °C.
func (a FeedAsk) partsFor(thermal float64) float64 {
	lo, hi := leastParts, mostParts
	for range 40 {
		if mid := math.Sqrt(lo * hi); a.thermal(mid) < thermal {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Sqrt(lo * hi)
}

// later is when to feed so many parts.
func (a FeedAsk) later(parts float64) FeedChoice {
	lo, hi := 0.0, a.Ripe.Sub(a.Now).Hours()
	for range 30 {
		mid := (lo + hi) / 2
		if grown, _ := a.stand(a.Now.Add(hoursLong(mid))).grown(a.Ripe); grown > a.thermal(parts) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return a.choice(a.Now.Add(hoursLong(lo)).Round(time.Minute), parts)
}

func (a FeedAsk) choice(at time.Time, parts float64) FeedChoice {
	c := FeedChoice{At: at, Parts: parts}
	s, need := a.stand(at), a.thermal(parts)
	mean, _ := s.until(need)
	u, t := a.Speed.at(mean, a.mix(parts).inoculation, s.room.U)
	c.P10, c.P50, c.P90 = s.when(need*math.Exp(-t*u)), s.when(need), s.when(need*math.Exp(t*u))
	f := Feeding{SeedG: 1, FlourG: parts, WaterG: parts * a.HydrationPct.Or(100) / 100}
	c.Text = fmt.Sprintf("feed %s at %s: near its peak %s", f.Ratio(), clockTime(at), span3(Choice{P10: c.P10, P50: c.P50, P90: c.P90}))
	return c
}
