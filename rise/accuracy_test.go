package rise

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// foldLevels gives the estimates of a case without forecasts on the grid, which take most of the time.
func foldLevels(t *testing.T, c Case) []Estimate {
	t.Helper()
	tr := levelTracker(t, c)
	out := make([]Estimate, 0, len(c.Readings))
	for _, r := range c.Readings {
		out = append(out, tr.Add(r))
	}
	return out
}

func levelTracker(t *testing.T, c Case) *Tracker {
	t.Helper()
	tr, err := NewTracker(c)
	require.NoError(t, err)
	tr.outlook.next = math.Inf(1)
	return tr
}

func TestANoiselessNightIsFollowedWithinAThousandth(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		n := drawn(seed)
		n.noiseMM, n.n = 0, 0
		truth := n.truth()
		seen := 0
		for i, e := range foldLevels(t, n.kase()) {
			m, ok := e.Multiple.Get()
			if !ok || float64(i)*n.every.Hours() < 2 {
				continue
			}
			seen++
			require.InEpsilon(t, truth[i], m, 0.001, "seed %d reading %d", seed, i)
		}
		require.Greater(t, seen, 500, "seed %d", seed)
	}
}

func TestWholeMillimetresStayWithinTheirRounding(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		n := drawn(seed)
		n.noiseMM, n.whole = 0, true
		truth := n.truth()
		for i, e := range foldLevels(t, n.kase()) {
			m, ok := e.Multiple.Get()
			if !ok {
				continue
			}
			// Half a millimetre of the level and half a millimetre of the base.
			bound := 0.5*(1+truth[i])/(n.baseMM-0.5) + 0.002
			require.InDelta(t, truth[i], m, bound, "seed %d reading %d", seed, i)
		}
	}
}

// TestMultipleOverAThousandRuns counts each run once, at a random moment, since the errors within a run hang together:
// first the error of ranging alone, then with the floor distance off and a surface uneven and domed by what jar and flour allow for.
func TestMultipleOverAThousandRuns(t *testing.T) {
	t.Parallel()
	const runs = 1000
	within, covered := 0, 0
	for seed := range uint64(runs) {
		r := rand.New(rand.NewPCG(seed, 3))
		n := drawn(seed)
		off := 0.5 * r.NormFloat64()
		uneven := surfaceOf("").uneven * r.NormFloat64()
		truth := n.truth()
		i := int((2 + 5.5*r.Float64()) / n.every.Hours())
		if m, ok := multipleAfter(t, n, i, 0); ok && math.Abs(m.multiple/truth[i]-1) <= 0.015 {
			within++
		}
		n.claimedMM += off + uneven
		n.dome = surfaceOf("").uDome * r.NormFloat64()
		if m, ok := multipleAfter(t, n, i, 0.5); ok && math.Abs(m.multiple-truth[i]) <= 1.96*m.u {
			covered++
		}
	}
	t.Logf("within 1.5 %%: %d of %d; covered by the 95 %% interval: %d", within, runs, covered)
	assert.GreaterOrEqual(t, within, runs*95/100)
	assert.GreaterOrEqual(t, covered, runs*93/100)
	assert.LessOrEqual(t, covered, runs*97/100)
}

// multipleAfter is the multiple at a reading of a night.
func multipleAfter(t *testing.T, n night, i int, uFloor float64) (point, bool) {
	t.Helper()
	n.only = i + 1
	c := n.kase()
	c.Jar.UFloorMM = uFloor
	var e Estimate
	tr := levelTracker(t, c)
	for _, r := range c.Readings {
		e = tr.Add(r)
	}
	m, ok := e.Multiple.Get()
	return point{multiple: m, u: e.MultipleU.Or(0)}, ok
}
