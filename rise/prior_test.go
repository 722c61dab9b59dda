package rise

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"nightjar/sensor/sim/dough"
)

// taught is a past run of a starter whose growth lies a usual standard deviation above the usual one.
func taught(inoculation Num) Summary {
	s := Summary{Run: Run{Kind: RunDough, InoculationPct: inoculation}, PeakMultiple: Known(2.3)}
	for k := range parameters {
		s.Growth = append(s.Growth, usualMean[k]+usualSD[k])
	}
	return s
}

// TestPrior_Pooling: one past run moves the prior part of the way, five move it most of it, and never beyond them; the
// prior narrows, but no further than one starter's runs scatter.
func TestPrior_Pooling(t *testing.T) {
	usual := newPrior(Progress{InoculationPct: Known(doughShare)})
	last, sd := usual.mean, usual.sd
	for n := 1; n <= 20; n++ {
		p := Progress{InoculationPct: Known(doughShare)}
		for range n {
			p.Past = append(p.Past, taught(Known(doughShare)))
		}
		q := newPrior(p)
		assert.Equal(t, n, q.past)
		for k := range parameters {
			assert.Greater(t, q.mean[k], last[k], "parameter %d, %d runs", k, n)
			assert.Less(t, q.mean[k], usualMean[k]+usualSD[k])
			assert.LessOrEqual(t, q.sd[k], sd[k])
			assert.GreaterOrEqual(t, q.sd[k], withinSD[k])
			if n == 5 {
				assert.Greater(t, (q.mean[k]-usual.mean[k])/usualSD[k], 0.85, "five runs count most")
			}
		}
		last, sd = q.mean, q.sd
	}
}

// TestPrior_PastOfAnotherInoculation: twice the seed is ln 2 more, whichever run had it; an unknown one is taken to be alike.
func TestPrior_PastOfAnotherInoculation(t *testing.T) {
	seed := func(now, then Num) float64 {
		v, ok := pastValue(taught(then), Progress{InoculationPct: now}, atSeed)
		assert.True(t, ok)
		return v
	}
	same := seed(Known(10), Known(10))
	assert.InDelta(t, math.Ln2, seed(Known(20), Known(10))-same, 1e-12)
	assert.InDelta(t, -math.Ln2, seed(Known(10), Known(20))-same, 1e-12)
	assert.InDelta(t, same, seed(Num{}, Known(20)), 1e-12)
	assert.InDelta(t, same, seed(Known(20), Num{}), 1e-12)
}

// TestPrior_WhatTeachesNothing: a run of another kind, one that hardly rose, and one by another algorithm are left out.
func TestPrior_WhatTeachesNothing(t *testing.T) {
	starter, flat, older := taught(Num{}), taught(Num{}), taught(Num{})
	starter.Run.Kind = RunStarter
	flat.PeakMultiple = Known(1.1)
	older.Growth = older.Growth[:3]
	assert.Equal(t, newPrior(Progress{}), newPrior(Progress{Past: []Summary{starter, flat, older, {}}}))
}

// TestPrior_HistoryHelps: with five past runs the forecast of simulated doughs at a quarter of the rise is nearer than
// without, and one past run lies between.
func TestPrior_HistoryHelps(t *testing.T) {
	t.Parallel()
	nights := heldOutPart.nights(dough.Monod, 8)
	var off [3]float64
	for i, past := range []int{0, 1, 5} {
		off[i] = medianFigure(judgeTrials(nights, past, false)[1], offOf)
	}
	assert.Greater(t, off[0], off[1])
	assert.Greater(t, off[1], off[2])
}
