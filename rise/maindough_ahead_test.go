package rise

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/sensor/sim/dough"
)

// TestMainDough_ByHand: at steady temperatures the dough's clock runs as the cardinal model says. The sample at 25 °C has
// had 6 h; a dough held at 23 °C has had 6·rate(23)/rate(25), and gets to the target as much later as its pace asks.
func TestMainDough_ByHand(t *testing.T) {
	yeast := SourdoughYeast()
	slower := yeast.Rate(23) / yeast.Rate(25)
	// (23−42)·19²/(26·(26·−7−12·12)) = −6859/−8476 and (25−42)·21²/(26·(26·−5−12·16)) = −7497/−8372.
	assert.InDelta(t, (6859.0/8476)/(7497.0/8372), slower, 1e-9)
	p := made(rising, 5, 25, 0.002)
	p.Dough = DoughState{AheadH: Known(5*slower - 5), TempC: Known(23), TauH: 1e9}
	got := new(Forecaster).Predict(p)
	require.True(t, got.DoughP50.IsKnown())
	// A temperature that never comes nearer is not taken for one: it comes in doughHours.
	slow := got.DoughP50.Or(0)
	p.Dough.TauH = 1e-9
	fast := new(Forecaster).Predict(p).DoughP50.Or(0)
	p.Dough.TauH = 99
	held := new(Forecaster).Predict(p).DoughP50.Or(0)
	sample := got.P50.Or(0)
	assert.InDelta(t, 5+((sample-5)+5-5*slower)/slower, held, 0.03, "held at 23 °C")
	assert.InDelta(t, 5+(sample-5)+5-5*slower, fast, 0.15, "at once as warm as the sample")
	assert.True(t, fast < slow && slow < held)
	assert.LessOrEqual(t, got.DoughP10.Or(0), slow)
	assert.LessOrEqual(t, slow, got.DoughP90.Or(0))
}

// TestMainDough_AheadOrThere: a warmer dough is there before its sample, and one that is behind a sample that is there has
// the time that is missing.
func TestMainDough_AheadOrThere(t *testing.T) {
	p := made(rising, 5.5, 25, 0.002)
	p.Dough = DoughState{AheadH: Known(3), TempC: Known(27), TauH: 3}
	got := new(Forecaster).Predict(p)
	assert.InDelta(t, 5.5, got.DoughP50.Or(0), 0.01, "there already")
	assert.Greater(t, got.P50.Or(0), 5.6)
	p = made(rising, 6.2, 25, 0.002)
	p.Dough = DoughState{AheadH: Known(-1), TempC: Known(25), TauH: 3}
	got = new(Forecaster).Predict(p)
	assert.InDelta(t, got.P50.Or(0)+1, got.DoughP50.Or(0), 0.05, "an hour behind")
}

// TestMainDough_TwoDegreesCooler: of two equal simulated doughs one is kept 2 °C cooler; from the warm one's rise and both
// temperatures the cool one's time is told, at half of its own rise, as well as the sample's own.
func TestMainDough_TwoDegreesCooler(t *testing.T) {
	for _, m := range dough.Mechanisms {
		params := dough.Default()
		params.Mechanism, params.InoculationPct = m, 15
		warm, cool := dough.New(params), dough.New(params)
		var p Progress
		p.Target, p.NoiseSD, p.InoculationPct = 2, 0.001, Known(15)
		yeast := SourdoughYeast()
		ahead, told, saidWarm, truthWarm := 0.0, 0.0, 0.0, 0.0
		for h := 0.0; truthWarm == 0 || cool.Multiple() < p.Target; h += 1.0 / 60 {
			require.Less(t, h, 24.0)
			p.Hours, p.Multiple, p.TempC = append(p.Hours, h), append(p.Multiple, warm.Multiple()), append(p.TempC, Known(25.0))
			if told == 0 && warm.Multiple() > 1.5 {
				p.Dough = DoughState{AheadH: Known(ahead), TempC: Known(23), TauH: 99}
				got := new(Forecaster).Predict(p)
				told, saidWarm = got.DoughP50.Or(0), got.P50.Or(0)
			}
			if truthWarm == 0 && warm.Multiple() >= p.Target {
				truthWarm = h
			}
			warm.Step(time.Minute, 25)
			cool.Step(time.Minute, 23)
			ahead += (yeast.Rate(23)/yeast.Rate(25) - 1) / 60
		}
		t.Logf("%s: warm %.2f h, told %.2f; cool %.2f h, told %.2f", m, truthWarm, saidWarm, cool.Hours(), told)
		assert.InDelta(t, truthWarm, saidWarm, 0.3, m)
		assert.InDelta(t, cool.Hours(), told, 0.6, m)
	}
}

// TestDoughProbe_Out: a probe that is pulled out of the dough is not believed until it is back, and a dough that is put
// into the refrigerator is.
func TestDoughProbe_Out(t *testing.T) {
	const room = 20.0
	var d mainDough
	d.tau = doughHours
	var temps temperatures
	add := func(h, doughC, jarC float64) {
		r := Reading{DoughC: Known(doughC), JarC: Known(jarC), RoomC: Known(room)}
		temps.add(h, r)
		d.add(h, r, &temps)
	}
	inDough := func(h float64) float64 { return room + 6*math.Exp(-h/3) }
	for h := 0.0; h < 4; h += 1.0 / 120 {
		c := inDough(h)
		if h > 2 && h < 2.5 { // a fold: the probe lies on the table
			c = room + (inDough(2)-room)*math.Exp(-(h-2)*30)
		}
		add(h, c, room+0.5)
		if h > 2.05 && h < 2.5 {
			require.True(t, d.probe.out, "at %v", h)
		}
		if h < 2 || h > 2.55 {
			require.False(t, d.probe.out, "at %v", h)
		}
		assert.InDelta(t, inDough(h), d.lastC, 0.9, "at %v", h)
	}
	from := inDough(4)
	for h := 4.0; h < 8; h += 1.0 / 120 { // into the refrigerator
		cold := 4 + (from-4)*math.Exp(-(h-4)/1.7)
		r := Reading{DoughC: Known(cold), JarC: Known(4 + 16*math.Exp(-(h-4)/1)), RoomC: Known(4.0)}
		temps.add(h, r)
		d.add(h, r, &temps)
		require.False(t, d.probe.out, "at %v", h)
	}
}

// TestReady_AtTheEarlierOfSampleAndDough: in a kitchen that cools, the sample cools with it and the main dough keeps its
// warmth; ready names the dough, within 36 minutes of the simulated dough itself, which is two to three hours ahead.
func TestReady_AtTheEarlierOfSampleAndDough(t *testing.T) {
	for _, m := range dough.Mechanisms {
		params := dough.Default()
		params.Mechanism, params.StartC, params.SampleH, params.MainH, params.InoculationPct = m, 27, 0.7, 4, 18
		night := dough.Simulate(params, dough.Cooling(25, 17, 0.5, 2), dough.Span{Hours: 20, Every: time.Minute, Main: true})
		truth, ok := night.MainTimeTo(1.8)
		require.True(t, ok)
		sample, ok := night.TimeTo(1.8)
		require.True(t, ok)
		require.Greater(t, sample, truth+0.5, "the sample is later")
		tr, err := NewTracker(Case{Run: Run{Kind: RunDough, Target: 1.8}})
		require.NoError(t, err)
		rang, text := 0.0, ""
		for i, h := range night.Hours {
			at := time.Duration(h * float64(time.Hour))
			e := tr.Add(Reading{Stamp: Stamp{Boot: 1, At: at}, Time: nightStart.Add(at), LevelMM: Known(night.LevelMM[i]), JarC: Known(night.SampleC[i]), DoughC: Known(night.MainC[i]), RoomC: Known(night.RoomC[i])})
			require.False(t, e.DoughProbeOut, "at %v", h)
			for _, c := range e.Holds {
				if c.Kind == AlertReady && rang == 0 {
					rang, text = h, c.Text
				}
			}
		}
		t.Logf("%s: dough %.2f h, sample %.2f h, rang %.2f h: %s", m, truth, sample, rang, text)
		assert.InDelta(t, truth, rang, 0.6, m)
		assert.Less(t, rang, sample)
		assert.Contains(t, text, "the main dough has reached")
	}
}
