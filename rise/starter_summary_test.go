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

// A starter run folded from readings tells the same milestones as the simulated truth.
func TestSummaryTellsMilestones(t *testing.T) {
	p := dough.Feeding(dough.Default().Culture, 20, 40, 40)
	p.StartC, p.Flour.DomePct = 25, 0
	n := dough.Simulate(p, dough.Steady(25), dough.Span{Hours: 20})
	rng := rand.New(rand.NewPCG(1, 1))
	jar := rise.Jar{Name: "glass", FloorMM: 180, UFloorMM: 0.3, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 80}}
	tracker, err := rise.NewTracker(rise.Case{Run: rise.Run{Kind: rise.RunStarter, Target: 2}, Jar: jar})
	require.NoError(t, err)
	for i := range n.Hours {
		r := rise.Reading{Stamp: rise.Stamp{Boot: 1, At: time.Duration(i) * n.Every}, Time: evening.Add(time.Duration(i) * n.Every), JarC: rise.Known(n.SampleC[i])}
		r.RangeMM, r.SpreadMM = rise.Known(180-n.LevelMM[i]+0.2*rng.NormFloat64()), rise.Known(0.9)
		r.Valid, r.Of = 20, 20
		tracker.Add(r)
	}
	m := tracker.Summary().Milestones
	double, ok := n.TimeTo(2)
	require.True(t, ok)
	peak, peakH := n.Peak()
	assert.InDelta(t, double, m.DoubleH.Or(0), 0.2)
	assert.InDelta(t, double, m.ThermalH[3].Or(0), 0.2, "at 25 °C thermal hours are hours")
	assert.InDelta(t, peak, m.TopMultiple.Or(0), 0.06)
	assert.InDelta(t, peakH, m.PeakH.Or(0), 0.7)
	assert.InDelta(t, 25, m.MeanC.Or(0), 0.1)
	assert.Greater(t, m.HoldH.Or(0), 1.0)
}
