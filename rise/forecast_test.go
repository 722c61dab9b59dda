package rise

import (
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
)

// made is a run of readings each 30 s up to some hours, of a given curve at a steady temperature, with noise.
func made(curve func(h float64) float64, hours, tempC, noise float64) Progress {
	rng := rand.New(rand.NewPCG(7, 11))
	p := Progress{Target: 2, NoiseSD: max(noise, 1e-4), InoculationPct: Known(15)}
	for h := 0.0; h <= hours; h += 1.0 / 120 {
		p.Hours = append(p.Hours, h)
		p.Multiple = append(p.Multiple, curve(h)+noise*rng.NormFloat64())
		p.TempC = append(p.TempC, Known(tempC))
	}
	return p
}

// rising is a plain S-shaped rise that doubles a little before 6 h.
func rising(h float64) float64 { return 1 + 1.5/(1+math.Exp(4*0.35/1.5*(3-h)+2)) }

// sane asserts what every prediction keeps, whatever it was made of.
func sane(t *testing.T, p Progress, got Prediction) {
	t.Helper()
	now := 0.0
	for i := range p.Hours {
		if h, _ := p.entry(i); h > now {
			now = h
		}
	}
	last := 0.0
	reached := got.Chance == Known(1) && got.P10 == got.P90
	for _, q := range []Num{got.P10, got.P50, got.P90} {
		v, ok := q.Get()
		if !ok {
			continue
		}
		assert.GreaterOrEqual(t, v, last, "quantiles rise")
		assert.True(t, reached || v >= now, "no time in the past: %v at %v of %+v", v, now, got)
		last = v
	}
	assert.False(t, got.P90.IsKnown() && !got.P50.IsKnown(), "no 90 %% without a median")
	assert.False(t, got.P50.IsKnown() && !got.P10.IsKnown(), "no median without 10 %%")
	assert.NotEqual(t, got.P50.IsKnown(), got.Reason != "", "a median or a reason: %+v", got)
	if c, ok := got.Chance.Get(); ok {
		assert.True(t, c >= 0 && c <= 1)
	}
}

func TestPredict_Rising(t *testing.T) {
	const truth = 3 + 1.5/(4*0.35)*(2+0.6931471805599453) // h, by the inverse of rising
	for hours := 2.5; hours < truth; hours += 0.25 {
		got := new(Forecaster).Predict(made(rising, hours, 25, 0.005))
		sane(t, made(rising, hours, 25, 0.005), got)
		if rising(hours) > 1.5 {
			assert.InDelta(t, truth, got.P50.Or(0), 0.4, "at %v h", hours)
			assert.Less(t, got.P10.Or(99), truth+0.05)
			assert.Greater(t, got.P90.Or(99), truth-0.05)
		}
	}
	after := new(Forecaster).Predict(made(rising, 8, 25, 0.005))
	assert.InDelta(t, truth, after.P50.Or(0), 0.05, "when it was reached")
	assert.Equal(t, Known(1), after.Chance)
	assert.Greater(t, after.Reached.Or(0), 0.999)
}

func TestPredict_Reasons(t *testing.T) {
	few := made(rising, 0.02, 25, 0.005)
	flat := made(func(float64) float64 { return 1 }, 20, 25, 0.005)
	weak := made(func(h float64) float64 { return 1 + 0.5/(1+math.Exp(4*0.2/0.5*(2-h)+2)) }, 9, 25, 0.005)
	falling := made(func(h float64) float64 { return 1.6 - 0.1*math.Abs(h-5) }, 9, 25, 0.005)
	frozen := made(func(float64) float64 { return 1 }, 3, 2, 0.005)
	below := made(rising, 4, 25, 0.005)
	below.Target = 0.9
	none := Progress{Target: 2}
	for want, p := range map[string]Progress{
		"too early to tell": few, "at most": weak, "falling from its peak": falling, "nothing rises at 2 °C": frozen,
		"not above the base level": below,
	} {
		got := new(Forecaster).Predict(p)
		sane(t, p, got)
		assert.Contains(t, got.Reason, want)
	}
	for _, p := range []Progress{flat, none} {
		got := new(Forecaster).Predict(p)
		sane(t, p, got)
		assert.NotEmpty(t, got.Reason)
	}
}

// TestPredict_Repeats: what was asked before does not matter.
func TestPredict_Repeats(t *testing.T) {
	p := made(rising, 4.5, 25, 0.005)
	a := new(Forecaster).Predict(p)
	f := new(Forecaster)
	f.Predict(made(rising, 7, 22, 0.01))
	assert.Equal(t, a, f.Predict(p))
}

// TestPredict_BadInput: whatever is wrong with the readings, there is a reason or a forecast, and never a NaN.
func TestPredict_BadInput(t *testing.T) {
	const truth = 5.885
	spoil := func(change func(p *Progress)) Progress {
		p := made(rising, 4.5, 25, 0.005)
		change(&p)
		return p
	}
	gap := func(p *Progress) {
		from, to := 120, 400
		p.Hours, p.Multiple, p.TempC = append(p.Hours[:from], p.Hours[to:]...), append(p.Multiple[:from], p.Multiple[to:]...), append(p.TempC[:from], p.TempC[to:]...)
	}
	cases := []struct {
		name   string
		p      Progress
		within float64 // of the truth, h; 0 asks for a reason
	}{
		{"no readings", Progress{Target: 2}, 0},
		{"one reading", Progress{Target: 2, Hours: []float64{1}, Multiple: []float64{1}}, 0},
		{"constant for a day", made(func(float64) float64 { return 1 }, 24, 25, 0), 0},
		{"falling from the start", made(func(h float64) float64 { return 1 - 0.02*h }, 6, 25, 0.002), 0},
		{"target of 1", spoil(func(p *Progress) { p.Target = 1 }), 0},
		{"target that is no number", spoil(func(p *Progress) { p.Target = math.NaN() }), 0},
		{"target without end", spoil(func(p *Progress) { p.Target = math.Inf(1) }), 0},
		{"target above any jar", spoil(func(p *Progress) { p.Target = 50 }), 0},
		{"a gap of hours", spoil(gap), 0.5},
		{"no temperature", spoil(func(p *Progress) { p.TempC = nil }), 0.5},
		{"temperature lost half way", spoil(func(p *Progress) { clear(p.TempC[270:]) }), 0.5},
		{"every third reading NaN", spoil(func(p *Progress) {
			for i := 0; i < len(p.Multiple); i += 3 {
				p.Multiple[i] = math.NaN()
			}
		}), 0.5},
		{"a reading in ten is wild", spoil(func(p *Progress) {
			for i := 0; i < len(p.Multiple); i += 10 {
				p.Multiple[i] = 5
			}
		}), 0.5},
		{"time that runs back", spoil(func(p *Progress) { p.Hours[200], p.Hours[201] = 0.1, 0 }), 0.5},
		{"more hours than multiples", spoil(func(p *Progress) { p.Multiple = p.Multiple[:500] }), 0.5},
		{"ten times the noise", func() Progress { p := made(rising, 4.5, 25, 0.07); return p }(), 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got := new(Forecaster).Predict(c.p)
			sane(t, c.p, got)
			if c.within == 0 {
				assert.NotEmpty(t, got.Reason)
				return
			}
			assert.InDelta(t, truth, got.P50.Or(0), c.within)
		})
	}
}

// TestPredict_Memory: one forecast of 1,500 readings allocates less than 50 kB, buffers of a new Forecaster included.
func TestPredict_Memory(t *testing.T) {
	p := made(rising, 4.5, 25, 0.005)
	for len(p.Hours) < 1500 {
		i := len(p.Hours)
		p.Hours, p.Multiple, p.TempC = append(p.Hours, p.Hours[i-1]+1e-4), append(p.Multiple, p.Multiple[i-1]), append(p.TempC, p.TempC[i-1])
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	new(Forecaster).Predict(p)
	runtime.ReadMemStats(&after)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(50_000))
}

// BenchmarkPredict is one forecast by the number of readings. The promise is 3 ms and 50 kB at 1,500.
func BenchmarkPredict(b *testing.B) {
	for _, n := range []int{150, 1500, 6000} {
		q := Progress{Target: 2, NoiseSD: 0.005}
		for i := range n {
			h := 4.5 * float64(i) / float64(n)
			q.Hours, q.Multiple, q.TempC = append(q.Hours, h), append(q.Multiple, rising(h)), append(q.TempC, Known(25.0))
		}
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			b.ReportAllocs()
			f := new(Forecaster)
			for b.Loop() {
				f.Predict(q)
			}
		})
	}
}

// FuzzPredict: whatever the readings are, the answer is sane.
func FuzzPredict(f *testing.F) {
	f.Add(uint64(1), 2.0, 0.01, 25.0, uint8(3))
	f.Add(uint64(2), 0.5, 10.0, -20.0, uint8(200))
	f.Add(uint64(3), math.Inf(1), math.NaN(), math.NaN(), uint8(90))
	f.Fuzz(func(t *testing.T, seed uint64, target, noise, temp float64, n uint8) {
		rng := rand.New(rand.NewPCG(seed, 1))
		p := Progress{Target: target, NoiseSD: noise}
		odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 0, 1e300, 1e-300}
		pick := func(v float64) float64 {
			if rng.IntN(12) == 0 {
				return odd[rng.IntN(len(odd))]
			}
			return v
		}
		h := 0.0
		for range int(n) {
			h += rng.Float64() * math.Exp(3*rng.NormFloat64()) / 20
			p.Hours = append(p.Hours, pick(h))
			p.Multiple = append(p.Multiple, pick(1+h*rng.NormFloat64()/5))
			p.TempC = append(p.TempC, Known(pick(temp+rng.NormFloat64())))
		}
		p.InoculationPct = Known(pick(20))
		p.Past = []Summary{{Growth: []float64{pick(0.3), pick(-1), pick(3)}}}
		sane(t, p, new(Forecaster).Predict(p))
	})
}
