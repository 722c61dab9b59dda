package rise

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// at is the index of a tick.
func (n night) at(hours float64) int { return int(hours / n.every.Hours()) }

// between changes the ranges from one time to another.
func between(rs []Reading, n night, from, to float64, change func(i int, dist float64) float64) {
	for i := n.at(from); i < n.at(to) && i < len(rs); i++ {
		if d, ok := rs[i].RangeMM.Get(); ok {
			rs[i].RangeMM = Known(change(i, d))
		}
	}
}

// TestNothingInAKitchenRingsReady disturbs a night whose sample stays well below its target.
func TestNothingInAKitchenRingsReady(t *testing.T) {
	t.Parallel()
	n := usualNight(5)
	n.hours = 6
	truth := n.truth()
	target := truth[len(truth)-1] + 0.3
	disturbances := map[string]func(rs []Reading, r *rand.Rand){
		"one outlier": func(rs []Reading, _ *rand.Rand) {
			between(rs, n, 4, 4.001+n.every.Hours(), func(_ int, d float64) float64 { return 40 })
		},
		"an outlier in every seventh reading": func(rs []Reading, _ *rand.Rand) {
			between(rs, n, 2, 6, func(i int, d float64) float64 {
				if i%7 == 0 {
					return d - 40
				}
				return d
			})
		},
		"a hand for two minutes": func(rs []Reading, r *rand.Rand) {
			between(rs, n, 4, 4+2.0/60, func(int, float64) float64 { return 20 + 60*r.Float64() })
		},
		"a lid for half an hour": func(rs []Reading, r *rand.Rand) {
			between(rs, n, 4, 4.5, func(int, float64) float64 { return 40 + 0.2*r.NormFloat64() })
		},
		"a bump that lifts by 6 mm": func(rs []Reading, _ *rand.Rand) {
			between(rs, n, 4, 9, func(_ int, d float64) float64 { return d - 6 })
		},
		"a bump that lowers by 6 mm": func(rs []Reading, _ *rand.Rand) {
			between(rs, n, 4, 9, func(_ int, d float64) float64 { return d + 6 })
		},
		"the jar taken away for ten minutes": func(rs []Reading, r *rand.Rand) {
			between(rs, n, 4, 4+10.0/60, func(int, float64) float64 { return 400 + r.NormFloat64() })
		},
		"no range for an hour": func(rs []Reading, _ *rand.Rand) {
			for i := n.at(4); i < n.at(5); i++ {
				rs[i].Burst, rs[i].Fault = Burst{Of: 20}, FaultView
			}
		},
	}
	for name, disturb := range disturbances {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := n.kase()
			c.Run.Target = target
			disturb(c.Readings, rand.New(rand.NewPCG(11, 11)))
			for i, e := range foldLevels(t, c) {
				for _, h := range e.Holds {
					require.NotEqual(t, AlertReady, h.Kind, "reading %d: %s", i, h.Text)
					require.NotEqual(t, AlertFalling, h.Kind, "reading %d: %s", i, h.Text)
				}
				if m, ok := e.Multiple.Get(); ok && i > n.at(2) {
					require.InDelta(t, truth[i], m, 4*e.MultipleU.Or(0)+0.002, "reading %d", i)
				}
			}
		})
	}
}

func TestRoughRangesOfAStillSampleSayNothing(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 3))
	c := usualNight(1).kase()
	c.Readings = nil
	for i := range 720 {
		at := time.Duration(i) * 30 * time.Second
		c.Readings = append(c.Readings, Reading{Stamp: Stamp{Boot: 1, At: at}, Time: nightStart.Add(at), Burst: Burst{RangeMM: Known(120 + 6*r.NormFloat64())}})
	}
	for i, e := range foldLevels(t, c) {
		assert.Empty(t, e.Holds, "reading %d", i)
		if rate, ok := e.RatePctH.Get(); ok && i > 120 {
			require.InDelta(t, 0, rate, 20, "reading %d", i)
		}
	}
}
