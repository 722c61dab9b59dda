package rise_test

import (
	"math"
	"math/rand/v2"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"
)

// watched is a simulated dough's curve as a station sees it, with 1 % of noise on each reading.
func watched(rng *rand.Rand, n dough.Night) rise.Curve {
	c := rise.Curve{Hours: n.Hours}
	for i := range n.Hours {
		c.Multiple = append(c.Multiple, n.Multiple[i]+0.01*rng.NormFloat64())
		c.TempC = append(c.TempC, rise.Known(n.SampleC[i]))
	}
	return c
}

// fed is a feeding of a culture on one day, in the form it happens to be in.
func fed(rng *rand.Rand, m dough.Mechanism, k dough.Culture, ratio, tempC float64) rise.FeedingRun {
	p := dough.Feeding(k, 20, 20*ratio, 20*ratio)
	p.Mechanism, p.StartC = m, tempC
	p.Vigour, p.Lag = math.Exp(0.1*rng.NormFloat64()), math.Exp(0.3*rng.NormFloat64())
	p.Flour.Strength *= math.Exp(0.1 * rng.NormFloat64())
	p.AirPct = 4 + 6*rng.Float64()
	hours := 20.0
	if tempC < 20 || ratio > 4 {
		hours = 40
	}
	night := dough.Simulate(p, dough.Steady(tempC), dough.Span{Hours: hours, Every: time.Minute})
	s := rise.Starter{Name: "rye", HydrationPct: 100}
	f := rise.Feeding{Starter: "rye", SeedG: 20, FlourG: 20 * ratio, WaterG: 20 * ratio}
	return rise.NewFeedingRun(s, 1, time.Time{}, f, watched(rng, night).Milestones())
}
