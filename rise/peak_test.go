package rise

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/sensor/sim/dough"
)

// TestPeak_FromPastPeaks: with five past runs the highest multiple of simulated doughs is told within 0.4, and its
// time within two hours, at three quarters of the way to the target, in the median (flour differs from night to night
// there); and it is never below what has been seen.
func TestPeak_FromPastPeaks(t *testing.T) {
	t.Parallel()
	for _, m := range dough.Mechanisms {
		nights := heldOutPart.nights(m, 6)
		summaries := summariesOf(nights)
		for i, n := range nights {
			summaries[i].PeakMultiple = Known(n.peak)
		}
		var high, late []outcome
		for i, n := range nights {
			if n.mark[3] < 0 || n.peakHours > trialHours-1 {
				continue
			}
			p := n.at(n.mark[3])
			p.Past = earlier(summaries, i, 5)
			got := new(Forecaster).Predict(p)
			multiple, ok := got.PeakMultiple.Get()
			require.True(t, ok)
			assert.GreaterOrEqual(t, multiple, 1+0.74*(p.Target-1))
			high = append(high, outcome{off: abs(multiple - n.peak)})
			late = append(late, outcome{off: abs(got.PeakHours.Or(0) - n.peakHours)})
		}
		require.Greater(t, len(high), 20)
		assert.Less(t, medianFigure(high, offOf), 0.4, m)
		assert.Less(t, medianFigure(late, offOf), 2.0, m)
	}
}

func abs(v float64) float64 { return max(v, -v) }

// TestPeak_FallIsToldAndNeverEarly: where a dough loses 15 % of its rise, a fall is told within two and a half hours of the
// top in the median, and never before it.
func TestPeak_FallIsToldAndNeverEarly(t *testing.T) {
	t.Parallel()
	for _, m := range dough.Mechanisms {
		var late []outcome
		for _, n := range heldOutPart.nights(m, 3) {
			last := n.progress.Multiple[len(n.progress.Multiple)-1]
			if fell := (n.peak - last) / (n.peak - 1); fell < 0.15 {
				continue
			}
			told := 0.0
			for i := 60; i < len(n.progress.Hours) && told == 0; i += 15 {
				p := n.at(i)
				p.Target = 9
				if got := new(Forecaster).Predict(p); strings.Contains(got.Reason, "falling") {
					told = p.Hours[i] - n.peakHours
				}
			}
			require.NotZero(t, told, "starter %d", n.starter)
			assert.Positive(t, told, "starter %d", n.starter)
			late = append(late, outcome{off: told})
		}
		require.Greater(t, len(late), 10)
		assert.Less(t, medianFigure(late, offOf), 2.5, m)
	}
}
