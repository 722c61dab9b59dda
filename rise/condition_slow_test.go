package rise

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// doubledAt is a level that rises by a logistic curve to ×2.6 and is at ×2 at an hour.
func doubledAt(hour float64) func(h float64) float64 {
	return func(h float64) float64 {
		steep := 6 / hour
		at := func(h float64) float64 { return 1 / (1 + math.Exp(-steep*(h-hour)-math.Log(1/0.6))) }
		return 30 * (1 + 1.6*(at(h)-at(0)))
	}
}

// foldWhole folds a case with its forecasts.
func foldWhole(t *testing.T, c Case) []Estimate {
	t.Helper()
	tr, err := NewTracker(c)
	require.NoError(t, err)
	var es []Estimate
	for _, r := range c.Readings {
		es = append(es, tr.Add(r))
	}
	return es
}

// 20 % prefermented flour at 24 °C usually takes 7 h or so: one that takes 16 h is told before it is half the way, with
// its starter as the cause.
func TestADoughSlowForItsStarterIsToldEarlyWithCauseAndRemedy(t *testing.T) {
	t.Parallel()
	c := drawnCase(16, 2, doubledAt(16))
	c.Run.InoculationPct = Known(20)
	es := foldWhole(t, c)
	slow := rung(es, AlertSlow)
	require.Len(t, slow, 1)
	assert.Less(t, slow[0].Since.Sub(nightStart).Hours(), 10.0)
	for _, e := range es {
		if e.Time.Equal(slow[0].Since) {
			assert.Less(t, e.Multiple.Or(9), 1.5)
		}
	}
	assert.Contains(t, slow[0].Text, "It is slow for its starter: at 24 °C")
	assert.Contains(t, slow[0].Text, "Move it to 26 °C")
	assert.Contains(t, slow[0].Text, "Feed the starter")
}

func TestACoolDoughBehindItsPlanIsToldToBeWarmed(t *testing.T) {
	t.Parallel()
	_, to, ok := UsualRange(Run{Target: 2, InoculationPct: Known(15)}, 17)
	require.True(t, ok)
	c := drawnCase(to, 2, doubledAt(to*0.9))
	c.Run.InoculationPct = Known(15)
	c.Run.Plan = nightStart.Add(hoursOf(0.5 * to))
	for i := range c.Readings {
		c.Readings[i].JarC = Known(17)
	}
	slow := rung(foldWhole(t, c), AlertSlow)
	require.NotEmpty(t, slow)
	assert.Contains(t, slow[0].Text, "Slower than you planned:")
	assert.Contains(t, slow[0].Text, "It is slow because it is cool: 17 °C")
	assert.Contains(t, slow[0].Text, "Move it to 26 °C: that saves about")
	c.Run.Plan = nightStart.Add(hoursOf(1.2 * to))
	assert.Empty(t, rung(foldWhole(t, c), AlertSlow), "in time for its plan")
}

// A dough mixed warm that cools to the room is slow for being cool: its mean so far would say that it is its starter.
func TestTheCauseCountsTheTemperatureToCome(t *testing.T) {
	t.Parallel()
	c := drawnCase(10, 2, doubledAt(17))
	c.Run.InoculationPct = Known(16)
	c.Run.Plan = nightStart.Add(hoursOf(8))
	for i := range c.Readings {
		h := float64(i) / 120
		c.Readings[i].JarC = Known(16.5 + 7.5*math.Exp(-h))
	}
	slow := rung(foldWhole(t, c), AlertSlow)
	require.NotEmpty(t, slow)
	assert.GreaterOrEqual(t, slow[0].Since.Sub(nightStart).Hours(), slowAfter)
	assert.Contains(t, slow[0].Text, "It is slow because it is cool: 18 °C")
}

func TestAUsualDoughIsNotSlow(t *testing.T) {
	t.Parallel()
	from, to, ok := UsualRange(Run{Target: 2, InoculationPct: Known(20)}, 24)
	require.True(t, ok)
	for _, hours := range []float64{from, (from + to) / 2, to} {
		c := drawnCase(hours+1, 2, doubledAt(hours))
		c.Run.InoculationPct = Known(20)
		assert.Empty(t, rung(foldWhole(t, c), AlertSlow), "%.1f h", hours)
		c.Run.InoculationPct = Num{}
		assert.Empty(t, rung(foldWhole(t, c), AlertSlow), "nothing is known of its inoculation")
	}
}

// A starter is told near its peak, with what it usually does, and is not past anything on its way there.
func TestAStarterNearItsPeakSaysHowLongItHolds(t *testing.T) {
	t.Parallel()
	c := drawnCase(9, 2, func(h float64) float64 { return ramp(h, 1, 6, 2.5) })
	c.Run.Kind = RunStarter
	es := foldWhole(t, c)
	ready := rung(es, AlertReady)
	require.Len(t, ready, 1)
	assert.Regexp(t, `^The starter has risen to ×2\.0[0-3]\. How high it goes is not known yet`, ready[0].Text)
	assert.Empty(t, rung(es, AlertPast))
	for _, hold := range []float64{1.8, 2.2, 2.0} {
		c.Past = append(c.Past, Summary{Run: Run{Kind: RunStarter}, Milestones: Milestones{TopMultiple: Known(0.2 + hold), PeakH: Known(6), HoldH: Known(hold)}})
	}
	c.Past = append(c.Past, Summary{Run: Run{Kind: RunDough}, Milestones: Milestones{TopMultiple: Known(3), PeakH: Known(6), HoldH: Known(9)}})
	ready = rung(foldWhole(t, c), AlertReady)
	require.Len(t, ready, 1)
	assert.Contains(t, ready[0].Text, "It usually peaks at ×2.20 and stays near that for 2 h 00 min.")
}
