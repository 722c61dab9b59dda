//go:build slow

package rise

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/sensor/sim/dough"
)

// The parts that constants were chosen and calibrated on.
var (
	tunePart      = part{"tune", 0, 40, []dough.Mechanism{dough.Monod, publishedCurve, plainBalance}}
	calibratePart = part{"calibrate", 1000, 120, []dough.Mechanism{dough.Monod, publishedCurve, plainBalance}}
)

// scatter is where the truth lay, in spreads from what the posterior expected; false if it gave no answer.
func (t *trialNight) scatter(f *Forecaster, at int, past []Summary) (float64, bool) {
	p := t.at(at)
	p.Past = past
	if got := f.Predict(p); !got.P50.IsKnown() || got.P10 == got.P90 {
		return 0, false
	}
	expected, spread := f.post.left()
	// The thermal time that truly passed, by the temperature that was expected.
	lo, hi := leastRest, 100.0
	for range 60 {
		if mid := (lo + hi) / 2; f.run.ahead(mid) < t.truth-t.progress.Hours[at] {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (math.Log(lo) - expected) / spread, true
}

// conformal is the split-conformal quantile: the ⌈(n+1)p⌉-th smallest.
func conformal(v []float64, p float64) float64 {
	slices.Sort(v)
	return v[min(len(v), max(1, int(math.Ceil(float64(len(v)+1)*p))))-1]
}

// TestCalibration finds the rows of calibration anew, the mechanisms counting alike, and holds the shipped ones to them.
func TestCalibration(t *testing.T) {
	var found [2][len(trialShares)][]float64
	for _, m := range calibratePart.mechanisms {
		nights := calibratePart.nights(m, math.MaxInt)
		for k, past := range []int{0, 5} {
			for j, v := range scatters(nights, past) {
				found[k][j] = append(found[k][j], v...)
				fmt.Printf("%-8s %d past, at %.2f: %5.2f %5.2f %5.2f\n", m, past, trialShares[j], conformal(v, 0.1), conformal(v, 0.5), conformal(v, 0.9))
			}
		}
	}
	for j, c := range calibration {
		require.Equal(t, trialShares[j], c.share)
		tail := 0.1
		if c.share <= 0.25 {
			tail = 0.08
		}
		var ends [2]interval
		for k, shipped := range []interval{c.alone, c.taught} {
			require.Greater(t, len(found[k][j]), 1000)
			ends[k] = interval{conformal(found[k][j], tail), conformal(found[k][j], 1-tail)}
			assert.InDelta(t, ends[k].low, shipped.low, 0.03)
			assert.InDelta(t, ends[k].high, shipped.high, 0.03)
		}
		fmt.Printf("\t{%.2f, interval{%.2f, %.2f}, interval{%.2f, %.2f}},\n", c.share, ends[0].low, ends[0].high, ends[1].low, ends[1].high)
	}
}

func scatters(nights []*trialNight, past int) (out [len(trialShares)][]float64) {
	type score struct {
		v  float64
		ok bool
	}
	all := make([][len(trialShares)]score, len(nights))
	summaries := summariesOf(nights)
	inParallel(len(nights), func(f *Forecaster, i int) {
		for j, at := range nights[i].mark {
			if nights[i].reached && at >= 0 {
				s := &all[i][j]
				s.v, s.ok = nights[i].scatter(f, at, earlier(summaries, i, past))
			}
		}
	})
	for i := range all {
		for j, s := range all[i] {
			if s.ok {
				out[j] = append(out[j], s.v)
			}
		}
	}
	return out
}
