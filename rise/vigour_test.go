package rise_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// agreement feeds each of some cultures at 15-30 °C from 1:1:1 to 1:10:10 and returns how far each vigour lies from its
// own culture's median, as shares, in rising order.
func agreement(t *testing.T, m dough.Mechanism, cultures int) []float64 {
	t.Helper()
	rng := rand.New(rand.NewPCG(41, 1))
	var off []float64
	for range cultures {
		k := dough.DrawCulture(rng)
		var vs []float64
		for _, c := range []float64{15, 18, 21, 25, 30} {
			for _, ratio := range []float64{1, 2, 5, 10} {
				if v, ok := fed(rng, m, k, ratio, c).Vigour.Ratio.Get(); ok {
					vs = append(vs, v)
				}
			}
		}
		if len(vs) == 0 {
			continue
		}
		slices.Sort(vs)
		for _, v := range vs {
			off = append(off, math.Abs(v/vs[len(vs)/2]-1))
		}
	}
	slices.Sort(off)
	require.Greater(t, len(off), 10*cultures)
	return off
}

// place is where and how a starter is fed: drawn anew for each feeding.
type place func(rng *rand.Rand) (tempC, ratio float64)

func sameKitchen(rng *rand.Rand) (tempC, ratio float64) {
	return 20 + 6*rng.Float64(), 1 + 3*rng.Float64()
}

// separated counts the pairs of cultures a quarter apart whose ratio's 80 % interval excludes 1 after three feedings
// each, and those whose interval holds the true ratio. A nil other place is the very same feedings.
func separated(m dough.Mechanism, pairs int, one, other place) (excluded, covered float64) {
	rng := rand.New(rand.NewPCG(43, 1))
	for range pairs {
		slow := dough.DrawCulture(rng)
		quick := slow
		quick.GasLPerKgH *= 1.25
		quick.GrowthPerH *= 1.25
		var a, b []rise.FeedingRun
		for range 3 {
			c, ratio := one(rng)
			a = append(a, fed(rng, m, quick, ratio, c))
			if other != nil {
				c, ratio = other(rng)
			}
			b = append(b, fed(rng, m, slow, ratio, c))
		}
		r := rise.VigourRatio(a, b)
		if r.Lo.Or(0) > 1 {
			excluded++
		}
		if r.Lo.Or(0) <= 1.25 && r.Hi.Or(0) >= 1.25 {
			covered++
		}
	}
	return excluded / float64(pairs), covered / float64(pairs)
}

func TestVigourIsTheSameAtAnyTemperatureAndFeeding(t *testing.T) {
	for _, m := range dough.Mechanisms {
		t.Run(string(m), func(t *testing.T) {
			t.Parallel()
			off := agreement(t, m, 8)
			assert.Less(t, off[len(off)/2], 0.10, "median")
			assert.Less(t, off[len(off)*9/10], 0.25, "nine in ten")
		})
	}
}

func TestThreeFeedingsTellAQuarterApart(t *testing.T) {
	for _, m := range dough.Mechanisms {
		t.Run(string(m), func(t *testing.T) {
			t.Parallel()
			excluded, covered := separated(m, 40, sameKitchen, nil)
			assert.GreaterOrEqual(t, excluded, 0.9)
			assert.GreaterOrEqual(t, covered, 0.75)
		})
	}
}

// λ + ln(1 + μ·G/g0)/μ with the published check values: μ = 0.30 per hour, G = 1.2 l/kg and g0 from 0.274 down give 2.796,
// 4.295, 6.112 and 8.140 h. The model is the same formula: halving what is seeded adds the same hours.
func TestHalvingTheSeedAddsWhatTheFormulaSays(t *testing.T) {
	const mu, gas = 0.30, 1.2
	for _, c := range []struct{ g0, hours float64 }{{0.274, 2.796}, {0.137, 4.295}, {0.0685, 6.112}, {0.0343, 8.140}} {
		assert.InDelta(t, c.hours, math.Log1p(mu*gas/c.g0)/mu, 0.001)
	}
	for _, pct := range []float64{40, 20, 10, 5} {
		added := rise.UsualHours(pct/2, 72, 2, 25, 2) - rise.UsualHours(pct, 72, 2, 25, 2)
		assert.Greater(t, added, 1.0)
		assert.Less(t, added, math.Ln2/(0.32*0.85*0.916), "at most one doubling of the yeast, slowed by 2 % salt and 28 points less water")
	}
}

// Common practice, no source: 1:1:1 peaks after 4-6 h and 1:5:5 after 8-12 h at 24-26 °C, and doubles somewhat before; a
// dough with 10 % prefermented flour doubles in 10-14 h at room temperature.
func TestUsualHoursMeetCommonPractice(t *testing.T) {
	assert.InDelta(t, 4.5, rise.UsualHours(100.0/3, 100, 0, 25, 2), 0.7)
	assert.InDelta(t, 8.0, rise.UsualHours(100.0/11, 100, 0, 25, 2), 1)
	assert.InDelta(t, 12, rise.UsualHours(10, 72, 2, 21.5, 2), 2)
}

func TestVigourSaysWhyItIsUnknown(t *testing.T) {
	var m rise.Milestones
	assert.Contains(t, rise.VigourOf(m, 33, 100, 0).Why, "did not rise by a quarter")
	assert.Contains(t, rise.VigourOf(m, 33, 230, 0).Why, "too liquid")
	assert.Contains(t, rise.VigourOf(m, 0, 100, 0).Why, "not known")
	m.ThermalH[0] = rise.Known(3)
	v := rise.VigourOf(m, 33, 140, 0)
	assert.Contains(t, v.Why, "weak evidence")
	assert.True(t, v.Ratio.IsKnown())
	assert.GreaterOrEqual(t, v.U.Or(0), 0.08, "one jar is no better than a laboratory")
}

// Twice as fast is twice the vigour, to the digit.
func TestVigourScalesWithTime(t *testing.T) {
	var slow, quick rise.Milestones
	for j, h := range []float64{2, 3, 4, 5} {
		slow.ThermalH[j], quick.ThermalH[j] = rise.Known(h), rise.Known(h/2)
	}
	assert.InDelta(t, 2, rise.VigourOf(quick, 20, 100, 0).Ratio.Or(0)/rise.VigourOf(slow, 20, 100, 0).Ratio.Or(1), 1e-12)
}
