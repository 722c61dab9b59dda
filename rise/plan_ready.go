package rise

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Keeping a dough at a temperature of one's choice is more certain than leaving it to the room: the standard uncertainty of
// a warm place or a proofing box, K (common practice, no source).
const boxU = 0.5

// PlanReady finds how a dough is ready at a.Ready: by how much starter, by how warm it is kept, or by chilling it on
// the way. A wish that cannot be met is answered with the nearest that can, and Met false.
func PlanReady(a Ask) (Plan, error) {
	if err := a.Check(); err != nil {
		return Plan{}, err
	}
	if a.Ready.IsZero() {
		return Plan{}, errors.New("when is it to be ready? Give a time to come, or a time of mixing instead")
	}
	a = a.filled()
	p := Plan{Met: true, Basis: a.Speed.From}
	for _, way := range []func(Ask) (Choice, bool){Ask.byStarter, Ask.byTemperature, Ask.byRetard} {
		if c, ok := way(a); ok {
			p.Choices = append(p.Choices, c)
		}
	}
	if len(p.Choices) == 0 {
		p.Met = false
		c := a.nearest()
		p.Choices = []Choice{c}
		p.Why = fmt.Sprintf("%s cannot be met: the nearest is %s.", clockTime(a.Ready), span3(c))
	}
	return a.keepSafe(p), nil
}

// byStarter keeps the temperature and changes the prefermented flour.
func (a Ask) byStarter() (Choice, bool) {
	have, _ := a.stand().grown(a.Ready)
	need := func(pct float64) float64 {
		b := a
		b.InoculationPct = Known(pct)
		return b.thermal()
	}
	lo, hi := leastInoculation, mostInoculation
	if need(lo) < have || need(hi) > have {
		return Choice{}, false
	}
	for range 40 {
		if mid := math.Sqrt(lo * hi); need(mid) > have {
			lo = mid
		} else {
			hi = mid
		}
	}
	a.InoculationPct = Known(math.Sqrt(lo * hi))
	return a.choice("starter"), true
}

// byTemperature keeps the recipe's starter and changes how warm the dough is mixed and kept.
func (a Ask) byTemperature() (Choice, bool) {
	need := a.thermal()
	lo, hi := coolestDough, warmestDough
	kept := func(c float64) Ask {
		b := a
		b.DoughC, b.Room = Known(c), Room{Points: []RoomPoint{{C: c}}, U: boxU}
		return b
	}
	grown := func(c float64) float64 {
		g, _ := kept(c).stand().grown(a.Ready)
		return g
	}
	if grown(lo) > need || grown(hi) < need {
		return Choice{}, false
	}
	for range 30 {
		if mid := (lo + hi) / 2; grown(mid) < need {
			lo = mid
		} else {
			hi = mid
		}
	}
	what := "warmer"
	if have, _ := a.stand().grown(a.Ready); have > need {
		what = "cooler"
	}
	c := kept(lo).choice(what)
	c.AirC = Known(lo)
	c.Text = fmt.Sprintf("%.0f %% prefermented flour, mixed to and kept at %.0f °C: ready %s", c.InoculationPct, lo, span3(c))
	return c, true
}

// byRetard keeps starter and temperature and chills the dough before it is at its target, which it reaches in the cold.
func (a Ask) byRetard() (Choice, bool) {
	need, s := a.thermal(), a.stand()
	at, ok := s.chillAt(need, a.Ready, a.FridgeC.Or(0))
	if !ok || a.Ready.Sub(at) < 2*time.Hour {
		return Choice{}, false
	}
	c := Choice{What: "retard", InoculationPct: a.InoculationPct.Or(0), DoughC: a.DoughC.Or(0), Mix: a.Mix, ChillAt: at}
	grown, _ := s.grown(at)
	multiple := a.dough().multiple(grown * a.Speed.Ratio)
	c.ChillMultiple = Known(multiple)
	c.P10, c.P50, c.P90 = a.quantiles(s, grown)
	c.Text = fmt.Sprintf("%.0f %% prefermented flour, dough at %.0f °C: into the refrigerator at ×%.2f, %s; it comes to its target in the cold and keeps until %s",
		c.InoculationPct, c.DoughC, multiple, span3(c), clockTime(a.Ready))
	return c, true
}

// nearest is the way that comes nearest to the wish: as slow or as fast as starter and temperature allow.
func (a Ask) nearest() Choice {
	if have, _ := a.stand().grown(a.Ready); have < a.thermal() {
		a.InoculationPct, a.DoughC = Known(mostInoculation), Known(warmestDough)
		a.Room = Room{Points: []RoomPoint{{C: warmestDough}}, U: boxU}
		c := a.choice("warmer")
		c.AirC = Known(warmestDough)
		return c
	}
	a.InoculationPct, a.DoughC = Known(leastInoculation), Known(coolestDough)
	a.Room = Room{Points: []RoomPoint{{C: coolestDough}}, U: boxU}
	c := a.choice("cooler")
	c.AirC = Known(coolestDough)
	return c
}
