package rise

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// watched folds a night, read each minute, as the daemon would: levels, the sample's probe, an unknown inoculation. It
// gives the forecast as it stood at each share of the rise.
func (n *trialNight) watched(t *testing.T, past []Summary) (at [len(trialShares)]Forecast, s Summary) {
	tr, err := NewTracker(Case{Run: Run{Kind: RunDough, Target: n.progress.Target}, Past: past})
	require.NoError(t, err)
	for i, h := range n.progress.Hours {
		d := time.Duration(h * float64(time.Hour))
		e := tr.Add(Reading{Stamp: Stamp{Boot: 1, At: d}, Time: nightStart.Add(d), LevelMM: Known(34 * n.progress.Multiple[i]), JarC: n.progress.TempC[i]})
		for j, mark := range n.mark {
			if mark == i {
				at[j] = e.Forecast
			}
		}
		if n.reached && h > n.truth+1 {
			break
		}
	}
	return at, tr.Summary()
}

// TestForecast_ThroughTheTracker: with a base level that is found, a grid of forecasts and nothing known of the dough, the
// whole fold keeps what the forecast alone does, without history and with one night's summary of its own.
func TestForecast_ThroughTheTracker(t *testing.T) {
	t.Parallel()
	limit := [len(trialShares)]float64{0, 40, 20, 8, 0} // min
	var alone, taught [len(trialShares)][]outcome
	for _, m := range heldOutPart.mechanisms {
		nights := heldOutPart.nights(m, 2)
		for i, n := range nights {
			if i%2 == 1 || !n.reached {
				continue
			}
			_, before := nights[i+1].watched(t, nil)
			require.Len(t, before.Growth, parameters)
			for k, past := range [][]Summary{nil, {before}} {
				got, _ := n.watched(t, past)
				for _, j := range judged {
					o := outcome{off: math.Inf(1)}
					if f := got[j]; f.Reason == "" {
						truth := nightStart.Add(time.Duration(n.truth * float64(time.Hour)))
						o.told, o.off = true, f.P50.Sub(truth).Abs().Minutes()
						o.covered = !f.P10.After(truth) && !f.P90.Before(truth)
					}
					if k == 0 {
						alone[j] = append(alone[j], o)
					} else {
						taught[j] = append(taught[j], o)
					}
				}
			}
		}
	}
	for _, j := range judged {
		require.Greater(t, len(alone[j]), 15)
		t.Logf("at %v of the rise: %.1f min, %.0f %% covered; with a past run %.1f min, %.0f %%", trialShares[j], medianFigure(alone[j], offOf), 100*coverage(alone[j]), medianFigure(taught[j], offOf), 100*coverage(taught[j]))
		assert.LessOrEqual(t, medianFigure(alone[j], offOf), limit[j], "at %v", trialShares[j])
		assert.LessOrEqual(t, medianFigure(taught[j], offOf), limit[j], "at %v with a past run", trialShares[j])
		assert.InDelta(t, 0.8, coverage(alone[j]), 0.15, "coverage at %v", trialShares[j])
	}
}
