package rise

import (
	"math"
	"math/rand/v2"

	"nightjar/sensor/sim/dough"
)

// scattered draws a factor about 1 with a standard deviation of its logarithm, cut at two and a half of them.
func scattered(r *rand.Rand, sd float64) float64 {
	return math.Exp(sd * min(2.5, max(-2.5, r.NormFloat64())))
}

func evenly(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// drawLaw draws a starter's cardinal temperatures.
func drawLaw(r *rand.Rand) Cardinal {
	best := evenly(r, 26.5, 33)
	return Cardinal{evenly(r, 1, 7), best, best + evenly(r, 8, 13)}
}

// bowl is what the two plain mechanisms share: a sample in its jar and kitchen.
type bowl struct {
	t                   *trialNight
	law                 Cardinal
	body                dough.Body
	base, slump, slumpH float64
}

func newBowl(ofStarter, rng *rand.Rand, t *trialNight) bowl {
	return bowl{
		t: t, law: drawLaw(ofStarter), body: dough.Body{C: evenly(rng, 21, 27), TauH: evenly(rng, 0.7, 1.4)},
		base: evenly(rng, 25, 45), slump: evenly(rng, 0.01, 0.08), slumpH: evenly(rng, 0.15, 0.6),
	}
}

// run steps the night: rise gives the rise of a step at a temperature, with thermal hours per hour there.
func (b bowl) run(rise func(pace, c float64) float64) (s seen) {
	for h := 0.0; h <= trialHours; h += trialEvery.Hours() {
		y := rise(b.law.Rate(b.body.C)/b.law.Rate(referenceC), b.body.C)
		level := b.base * (1 + y + b.slump*math.Exp(-h/b.slumpH))
		s.hours, s.level, s.surface, s.tempC = append(s.hours, h), append(s.level, level), append(s.surface, level), append(s.tempC, b.body.C)
		b.body.Step(trialEvery.Hours(), b.t.room(h))
	}
	return s
}

// drawCurve draws a Richards curve in thermal time: rise 0.9-2.4, largest slope 0.28 per hour at 25 °C within a factor of
// 1.8, lag 2-4 h, and any shape from Gompertz's to one that breaks off. A quarter of the nights would not double.
func drawCurve(ofStarter, rng *rand.Rand, t *trialNight) seen {
	b := newBowl(ofStarter, rng, t)
	a, mu, lag := evenly(ofStarter, 0.9, 2.4), 0.28*scattered(ofStarter, 0.3), evenly(ofStarter, 2, 4)
	shape := math.Exp(evenly(ofStarter, math.Log(0.05), math.Log(3)))
	inoculation := evenly(rng, 6, 25)
	t.progress.InoculationPct = Known(inoculation)
	a, mu, lag = a*scattered(rng, 0.1), mu*scattered(rng, 0.12), lag*scattered(rng, 0.15)+math.Log(14/inoculation)/0.35
	thermal, lost := 0.0, 0.0
	return b.run(func(pace, _ float64) float64 {
		y := richards(thermal, []float64{a, mu, lag, shape})
		lost += trialEvery.Hours() * 0.05 * math.Pow(y/a, 30) * y
		thermal += pace * trialEvery.Hours()
		return y - lost
	})
}

// drawBalance draws a plain gas balance, in litres per kilogram: yeast that grows until what it made stops it or, in every
// third starter, that hardly grows; gas that dissolves as the bubbles' air is diluted or, in every second, before any
// rise; a leak that sets in as the dough is stretched.
func drawBalance(ofStarter, rng *rand.Rand, t *trialNight) seen {
	b := newBowl(ofStarter, rng, t)
	mu, q, lag := 0.36*scattered(ofStarter, 0.2), 1.6*scattered(ofStarter, 0.35), 0.8*scattered(ofStarter, 0.5)
	most, holds := 3.2*scattered(ofStarter, 0.3), 2.6*scattered(ofStarter, 0.2)
	still, first := ofStarter.IntN(3) == 0, ofStarter.IntN(2) == 0
	inoculation := evenly(rng, 6, 25)
	t.progress.InoculationPct = Known(inoculation)
	yeast := inoculation / 175 * scattered(rng, 0.12)
	if still {
		yeast, mu = 4*yeast, 0.15*mu
	}
	most, holds, lag = most*scattered(rng, 0.1), holds*scattered(rng, 0.08), lag*scattered(rng, 0.3)
	sugar, air, shape := 5*scattered(rng, 0.25), evenly(rng, 0.04, 0.09), evenly(rng, 1, 2.5)
	awake := 1 / math.Expm1(max(0.05, lag*mu))
	made, gas, dissolved := 0.0, 0.0, 0.0
	dt := trialEvery.Hours()
	return b.run(func(pace, c float64) float64 {
		ready := awake / (1 + awake)
		rate := min(sugar/dt, q*pace*yeast*(0.3+0.7*ready)*sugar/(sugar+0.5))
		yeast += yeast * dt * mu * pace * ready * max(0, 1-math.Pow(made/most, shape))
		awake *= math.Exp(mu * pace * dt)
		made, sugar, dissolved = made+rate*dt, sugar-rate*dt, dissolved+rate*dt
		full := 0.42 * 0.85 * math.Exp(0.022*(referenceC-c))
		if !first {
			full *= gas / (gas + air)
		}
		move := max(-gas, (dissolved-full)*-math.Expm1(-15*dt))
		if first && gas == 0 {
			move = max(0, move)
		}
		gas, dissolved = gas+move, dissolved-move
		y := (gas + air*(c-referenceC)/298) / (0.8 + air)
		gas -= gas * dt * (0.01 + 0.05*math.Pow((1+y)/holds, 9))
		return y
	})
}
