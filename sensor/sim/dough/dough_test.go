package dough_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// each runs a test for either mechanism.
func each(t *testing.T, test func(t *testing.T, p dough.Params)) {
	t.Helper()
	for _, m := range dough.Mechanisms {
		t.Run(string(m), func(t *testing.T) {
			t.Parallel()
			p := dough.Default()
			p.Mechanism = m
			test(t, p)
		})
	}
}

// doubling is the time to ×2 at a steady temperature, h.
func doubling(t *testing.T, p dough.Params, c float64) float64 {
	t.Helper()
	p.StartC = c
	h, ok := dough.Simulate(p, dough.Steady(c), dough.Span{Hours: 40, Every: time.Minute}).TimeTo(2)
	require.True(t, ok, "never doubles: %+v", p)
	return h
}

func TestGasIsConserved(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		d := dough.New(p)
		for i := range 30 * 120 {
			d.Step(30*time.Second, 22+5*math.Sin(float64(i)/400))
			b := d.Balance()
			require.InDelta(t, b.Made, b.Dissolved+b.Bubbles+b.Leaked, 1e-12)
			require.GreaterOrEqual(t, b.Bubbles, 0.0)
			require.GreaterOrEqual(t, b.Dissolved, 0.0)
		}
		assert.Greater(t, d.Balance().Leaked, 0.01, "a night that long leaks")
	})
}

// 10 to 14 h from mixing to doubled with 10 % prefermented flour at room temperature: common practice, no source.
func TestTenPercentDoublesOvernight(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		assert.InDelta(t, 12, doubling(t, p, 21.5), 2)
	})
}

// The median over starters keeps to the same range, and most starters to within a factor of 1.6 of it.
func TestStartersScatterAroundCommonPractice(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		rng := rand.New(rand.NewPCG(7, 7))
		var hours []float64
		for range 60 {
			q := dough.Draw(rng, dough.Options{Mechanism: p.Mechanism, InoculationPct: 10})
			q.StartC = 21
			n := dough.Simulate(q, dough.Steady(21), dough.Span{Hours: 40, Every: 5 * time.Minute})
			h, ok := n.TimeTo(2)
			if !ok {
				h = 40
			}
			hours = append(hours, h)
		}
		slices.Sort(hours)
		assert.InDelta(t, 12, hours[30], 2, "median")
		assert.Greater(t, hours[5], 12/1.6)
		assert.Less(t, hours[48], 12*1.6)
	})
}

// 1:1:1 peaks in 4-6 h, 1:5:5 in 8-12 h at 24-26 °C, and peaks at ×2 to ×3: common practice, no source. An order of
// magnitude only, so a quarter is allowed on either side.
func TestFeedingsPeakInTheirUsualHours(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		for _, c := range []struct{ ratio, from, to float64 }{{1, 4, 6}, {5, 8, 12}} {
			q := dough.Feeding(p.Culture, 20, 20*c.ratio, 20*c.ratio)
			q.Mechanism, q.StartC = p.Mechanism, 25
			multiple, hours := dough.Simulate(q, dough.Steady(25), dough.Span{Hours: 30}).Peak()
			assert.Greater(t, hours, c.from*0.75, "1:%v", c.ratio)
			assert.Less(t, hours, c.to*1.25, "1:%v", c.ratio)
			assert.InDelta(t, 2.5, multiple, 0.5, "1:%v", c.ratio)
		}
	})
}

// From 20 to 25 °C the cardinal temperature model gives 1.39 for S. cerevisiae and 1.42 for K. humilis (Rosso et al.
// 1993 with the cardinal values of Salvadó et al. 2011 and Gänzle et al. 1998).
func TestFiveKelvinSpeedUpByFourTenths(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		assert.InDelta(t, 1.4, doubling(t, p, 20)/doubling(t, p, 25), 0.15)
	})
}

// t* = λ + ln(1 + μG/g0)/μ: halving the inoculation adds at most ln 2/μ, one doubling of the yeast, while it grows.
func TestHalfTheStarterCostsAtMostOneDoubling(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		p.SaltPct = 0
		generation := math.Ln2 / p.Culture.GrowthPerH
		for _, pct := range []float64{24, 12, 6} {
			p.InoculationPct = pct
			whole := doubling(t, p, 25)
			p.InoculationPct = pct / 2
			added := doubling(t, p, 25) - whole
			assert.Greater(t, added, 0.6*generation, "from %v %%", pct)
			// A tenth more for growth that inhibition has already slowed.
			assert.Less(t, added, 1.1*generation, "from %v %%", pct)
		}
	})
}

// Cooling 25 → 5 °C dissolves another 0.25 l/kg and shrinks the gas by 7 %: a doubled dough loses height in the
// refrigerator without any leak, and gets it back when it is warmed.
func TestRefrigeratorTakesHeightWithoutLeak(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		p.StartC = 25
		p.Culture.GasLPerKgH *= 0.7 // well short of tearing at ×1.8
		d := dough.New(p)
		for d.Multiple() < 1.8 {
			d.Step(time.Minute, 25)
		}
		before, leaked := d.Multiple(), d.Balance().Leaked
		for range 60 {
			d.Step(time.Minute, 5)
		}
		cold := d.Multiple()
		assert.Less(t, cold, before-0.15)
		assert.Greater(t, cold, before-0.45)
		for range 60 {
			d.Step(time.Minute, 25)
		}
		assert.Greater(t, d.Multiple(), before-0.03)
		assert.Less(t, d.Balance().Leaked-leaked, 0.005, "mol/kg")
	})
}

// Bubbles rise out of a batter: it makes as much gas and shows no rise (common practice, no source).
func TestLiquidStarterShowsNoRise(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		liquid := dough.Feeding(p.Culture, 20, 40, 110)
		liquid.Mechanism = p.Mechanism
		multiple, _ := dough.Simulate(liquid, dough.Steady(25), dough.Span{}).Peak()
		assert.Less(t, multiple, 1.1)
		d := dough.New(liquid)
		d.Step(24*time.Hour, 25)
		assert.Greater(t, d.Balance().Made, 0.02, "mol/kg: half a litre a kilogram is made all the same")
	})
}

// The first gas dissolves: by the time 0.2 l/kg is made, most of it is in the water, and at ×2 some 0.36 l/kg is.
func TestFirstGasDissolves(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		p.StartC = 25
		d := dough.New(p)
		for d.Balance().Made*24.79 < 0.2 {
			d.Step(time.Minute, 25)
		}
		b := d.Balance()
		assert.Greater(t, b.Dissolved/b.Made, 0.6)
		assert.Less(t, d.Multiple(), 1.12)
		for d.Multiple() < 2 {
			d.Step(time.Minute, 25)
		}
		assert.InDelta(t, 0.36, d.Balance().Dissolved*24.79, 0.06)
	})
}

func TestDoughFallsAfterItsPeak(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		n := dough.Simulate(p, dough.Steady(26), dough.Span{Hours: 30})
		peak, at := n.Peak()
		assert.Greater(t, at, 8.0)
		last := n.Multiple[len(n.Multiple)-1]
		assert.Less(t, last, peak-0.3)
		assert.Greater(t, last, 1.0)
	})
}

func TestStepsOfAnyLengthAgree(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		fine, coarse := dough.New(p), dough.New(p)
		for range 240 {
			for range 10 {
				fine.Step(30*time.Second, 23)
			}
			coarse.Step(5*time.Minute, 23)
		}
		assert.InEpsilon(t, fine.Multiple(), coarse.Multiple(), 1e-12)
		for range 24 * 60 {
			fine.Step(2*time.Second, 23)
			coarse.Step(2*time.Second, 23)
		}
		assert.InEpsilon(t, fine.Multiple(), coarse.Multiple(), 1e-12)
	})
}

// Halving the step moves the time to ×2 by less than a minute: the integration is fine enough to be called the truth.
func TestIntegrationHasConverged(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		time2 := func(dt time.Duration) float64 {
			d := dough.New(p)
			for d.Multiple() < 2 {
				d.Step(dt, 22)
			}
			return d.Hours()
		}
		assert.InDelta(t, time2(30*time.Second), time2(5*time.Second), 1.5/60)
	})
}

// The same digits on every machine, to nine of them: what amd64 gives stands here.
func TestSameDigitsEverywhere(t *testing.T) {
	want := map[dough.Mechanism][3]float64{dough.Monod: goldenMonod, dough.Film: goldenFilm}
	each(t, func(t *testing.T, p dough.Params) {
		q := dough.Draw(rand.New(rand.NewPCG(11, 4)), dough.Options{Mechanism: p.Mechanism})
		n := dough.Simulate(q, dough.Warming(23, 18, 1, 5, 8), dough.Span{Hours: 12})
		got := [3]float64{n.Multiple[900], n.SurfaceMM[1440], n.SampleC[1100]}
		for i := range got {
			assert.InEpsilon(t, want[p.Mechanism][i], got[i], 1e-9, "%.12g", got)
		}
	})
}

func TestDrawIsSeeded(t *testing.T) {
	a := dough.Draw(rand.New(rand.NewPCG(1, 2)), dough.Options{Mechanism: dough.Film})
	b := dough.Draw(rand.New(rand.NewPCG(1, 2)), dough.Options{Mechanism: dough.Film})
	assert.Equal(t, a, b)
	c := dough.Draw(rand.New(rand.NewPCG(1, 3)), dough.Options{Culture: &a.Culture, InoculationPct: 12})
	assert.Equal(t, a.Culture, c.Culture)
	assert.NotEqual(t, a.Seed, c.Seed)
	assert.Equal(t, 12.0, c.InoculationPct)
	assert.Equal(t, dough.Monod, c.Mechanism)
}

func TestCheckNamesWhatNoDoughHas(t *testing.T) {
	require.NoError(t, dough.Default().Check())
	rng := rand.New(rand.NewPCG(8, 9))
	for range 500 {
		require.NoError(t, dough.Draw(rng, dough.Options{}).Check())
	}
	for want, spoil := range map[string]func(*dough.Params){
		"mechanism":       func(p *dough.Params) { p.Mechanism = "sigmoid" },
		"culture":         func(p *dough.Params) { p.Culture.OptC = 50 },
		"inoculation_pct": func(p *dough.Params) { p.InoculationPct = 0 },
		"hydration_pct":   func(p *dough.Params) { p.HydrationPct = math.NaN() },
	} {
		p := dough.Default()
		spoil(&p)
		assert.ErrorContains(t, p.Check(), want)
	}
}

func BenchmarkNight(b *testing.B) {
	for _, m := range dough.Mechanisms {
		b.Run(string(m), func(b *testing.B) {
			p := dough.Default()
			p.Mechanism = m
			for b.Loop() {
				dough.Simulate(p, dough.Steady(22), dough.Span{})
			}
		})
	}
}

func Example() {
	p := dough.Default()
	p.InoculationPct = 15
	night := dough.Simulate(p, dough.Cooling(23, 18, 2, 6), dough.Span{Hours: 16})
	ready, ok := night.TimeTo(2)
	fmt.Printf("doubled %v after %.1f h\n", ok, ready)
	// Output: doubled true after 10.6 h
}

// A surface moves by less than 0.04 mm back and forth: the integration does not ring.
func TestTheRiseDoesNotRing(t *testing.T) {
	each(t, func(t *testing.T, p dough.Params) {
		for seed := range uint64(40) {
			q := dough.Draw(rand.New(rand.NewPCG(seed, 9)), dough.Options{Mechanism: p.Mechanism})
			n := dough.Simulate(q, dough.Steady(24), dough.Span{Hours: 6})
			for i := 2; i < len(n.Multiple); i++ {
				require.InDelta(t, n.Multiple[i]-n.Multiple[i-1], n.Multiple[i-1]-n.Multiple[i-2], 1e-3, "seed %d tick %d", seed, i)
			}
		}
	})
}
