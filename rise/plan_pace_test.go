package rise_test

import (
	"testing"

	"nightjar/rise"

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
