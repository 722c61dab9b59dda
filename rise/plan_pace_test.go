package rise_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func tenth() rise.Run { return rise.Run{Target: 2, InoculationPct: rise.Known(10)} }

// Common practice, no source: 10 to 14 h with about 10 % starter at room temperature; 20 % at 25 °C far less.
func TestUsualRanges(t *testing.T) {
	from, to, ok := rise.UsualRange(tenth(), 21.5)
	require.True(t, ok)
	assert.InDelta(t, 10, from, 1)
	assert.InDelta(t, 14, to, 1)
	quick := tenth()
	quick.InoculationPct = rise.Known(20)
	_, to, ok = rise.UsualRange(quick, 25)
	require.True(t, ok)
	assert.Less(t, to, 9.0)
	_, _, ok = rise.UsualRange(rise.Run{Target: 2}, 22)
	assert.False(t, ok, "nothing is known of its inoculation")
	_, _, ok = rise.UsualRange(tenth(), 1)
	assert.False(t, ok, "nothing grows")
}

func TestSlowDoughsCause(t *testing.T) {
	cold := rise.PaceOf(tenth(), 16, 18, 20, 4, 17, 14)
	assert.True(t, cold.Slow)
	assert.Equal(t, rise.CauseTemperature, cold.Cause)
	assert.Contains(t, cold.CanDo[0], "Move it to 26 °C")
	weak := rise.PaceOf(tenth(), 19, 21, 24, 5, 22, 0)
	assert.True(t, weak.Slow)
	assert.Equal(t, rise.CauseStarter, weak.Cause)
	assert.Contains(t, weak.Text, "10 % prefermented flour")
	assert.Contains(t, weak.CanDo[len(weak.CanDo)-1], "Feed the starter")
}

func TestUsualAndFastDoughs(t *testing.T) {
	assert.Zero(t, rise.PaceOf(tenth(), 10, 12, 14, 4, 21.5, 0))
	assert.Zero(t, rise.PaceOf(tenth(), 12, 14, 17, 4, 17, 0), "late, but not for its temperature")
	fast := rise.PaceOf(tenth(), 5, 6, 7, 3, 22, 0)
	assert.True(t, fast.Fast)
	assert.Contains(t, fast.Text, "It is fast")
	assert.Zero(t, rise.PaceOf(tenth(), 5, 6, 7, 3, 22, 12), "before a planned hour is no fault")
	assert.Zero(t, rise.PaceOf(rise.Run{Target: 2}, 5, 6, 7, 3, 22, 12))
}

// Simulated doughs that are late for one cause: a cold kitchen, or a weak starter in a warm one. The cause told is the
// right one nine times in ten.
func TestCauseIsToldApartOnSimulatedDoughs(t *testing.T) {
	for _, m := range dough.Mechanisms {
		rng := rand.New(rand.NewPCG(31, 7))
		right, slow := 0, 0
		for i := range 60 {
			p := dough.Draw(rng, dough.Options{Mechanism: m, InoculationPct: 12})
			p.Culture = dough.Default().Culture
			c, cause := 15.5+2.5*rng.Float64(), rise.CauseTemperature
			if i%2 == 0 {
				c, cause = 21+3*rng.Float64(), rise.CauseStarter
				p.Culture.GasLPerKgH *= 0.45
				p.Culture.GrowthPerH *= 0.7
			}
			p.StartC = c
			h, ok := dough.Simulate(p, dough.Steady(c), dough.Span{Hours: 48, Every: 5 * time.Minute}).TimeTo(1.6)
			if !ok {
				continue
			}
			run := runOf(p, 1.6)
			_, limit, _ := rise.UsualRange(run, 22)
			if pace := rise.PaceOf(run, 0.9*h, h, 1.1*h, 3, c, limit); pace.Slow {
				slow++
				if pace.Cause == cause {
					right++
				}
			}
		}
		require.Greater(t, slow, 40, m)
		assert.GreaterOrEqual(t, float64(right)/float64(slow), 0.9, m)
	}
}
