package dough

import (
	"math"
	"math/rand/v2"
)

// Options choose what Draw draws from. The zero value is wheat dough of any starter by the Monod mechanism.
type Options struct {
	Mechanism Mechanism
	// Culture is the starter; nil draws one.
	Culture *Culture
	// InoculationPct fixes the prefermented flour; 0 draws 6-25 %.
	InoculationPct float64
}

// Spreads of the logarithm. Cultures are drawn from wide ranges: two of them differ in gas by a factor of 2 about
// once in twenty times (Hou & Hsu 2013, Food Biosci. 3:75, found that factor between two).
const (
	spreadGas, spreadGrowth = 0.25, 0.14
	// weakShare of the cultures are weak: little gas, and soon inhibited. Some of their doughs never double.
	weakShare = 0.08
)

// DrawCulture draws a starter. Optima lie between those of C. milleri and of S. cerevisiae, 26 to 33 °C: most
// sourdoughs hold the latter.
func DrawCulture(rng *rand.Rand) Culture {
	opt := uniform(rng, 27, 33)
	c := Culture{
		GasLPerKgH: logNormal(rng, 1, spreadGas),
		GrowthPerH: logNormal(rng, 0.34, spreadGrowth),
		MinC:       uniform(rng, -4, 2.5),
		OptC:       opt,
		MaxC:       opt + uniform(rng, 8.5, 12.5),
		LagH0:      logNormal(rng, 0.4, 0.3),
		Tolerance:  logNormal(rng, 1, 0.12),
		SaltFactor: uniform(rng, 0.78, 0.92),
	}
	if rng.Float64() < weakShare {
		c.GasLPerKgH *= 0.6
		c.Tolerance *= uniform(rng, 0.45, 0.8)
	}
	return c
}

// Draw draws one night's dough.
func Draw(rng *rand.Rand, o Options) Params {
	p := Default()
	if o.Mechanism != "" {
		p.Mechanism = o.Mechanism
	}
	if o.Culture != nil {
		p.Culture = *o.Culture
	} else {
		p.Culture = DrawCulture(rng)
	}
	p.Seed = rng.Uint64()
	if p.InoculationPct = o.InoculationPct; p.InoculationPct == 0 {
		p.InoculationPct = uniform(rng, 6, 25)
	}
	drawDough(rng, &p)
	return p
}

func drawDough(rng *rand.Rand, p *Params) {
	p.HydrationPct = uniform(rng, 63, 82)
	p.SaltPct = uniform(rng, 1.7, 2.3)
	p.Flour = Flour{
		SugarPct:    uniform(rng, 1.4, 2.6),
		MaltosePctH: uniform(rng, 0.15, 0.4),
		Strength:    logNormal(rng, 1, 0.15),
		DomePct:     uniform(rng, 3, 12),
	}
	p.Vigour = logNormal(rng, 1, 0.1)
	p.Lag = logNormal(rng, 1, 0.3)
	p.AirPct = uniform(rng, 4, 10)
	p.StartC = uniform(rng, 21, 27)
	p.BaseMM = uniform(rng, 25, 45)
	p.SlumpPct = uniform(rng, 1, 10)
	p.SlumpH = uniform(rng, 0.15, 0.6)
	p.SampleH = uniform(rng, 0.7, 1.4)
	p.MainH = uniform(rng, 1.7, 4.5)
}

// RoomKinds names the programs that DrawRoom knows.
var RoomKinds = []string{"steady", "cooling", "warming", "box"}

// DrawRoom draws a kitchen of a kind. It panics on an unknown kind.
func DrawRoom(rng *rand.Rand, kind string) Room {
	day := uniform(rng, 19.5, 25)
	switch kind {
	case "steady":
		return Box(day, uniform(rng, 0.1, 0.5), uniform(rng, 0.7, 3))
	case "cooling":
		return Cooling(day, day-uniform(rng, 2.5, 7), uniform(rng, 0.5, 4), uniform(rng, 3, 9))
	case "warming":
		return Warming(day, day-uniform(rng, 2.5, 6), uniform(rng, 0, 2), uniform(rng, 3, 8), uniform(rng, 6, 10))
	case "box":
		return Box(uniform(rng, 24, 29), uniform(rng, 0.2, 0.9), uniform(rng, 0.2, 0.8))
	}
	panic("dough: unknown kind of room: " + kind)
}

func uniform(rng *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }

// logNormal draws around a median with a standard deviation of the logarithm, cut at three of them.
func logNormal(rng *rand.Rand, median, sd float64) float64 {
	z := min(3, max(-3, rng.NormFloat64()))
	return median * math.Exp(sd*z)
}
