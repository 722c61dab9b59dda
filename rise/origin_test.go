package rise

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// settledCase is a run whose floor distance is believed 2 mm too long, so that its levels seem 2 mm too high.
func settledCase() Case {
	c := drawnCase(5, 3, func(h float64) float64 { return ramp(h, 1, 4.5, 2) })
	c.Jar.FloorMM += 2
	c.Jar.UFloorMM = 1.5
	return c
}

func lastEstimate(t *testing.T, c Case) Estimate {
	t.Helper()
	es := foldLevels(t, c)
	return es[len(es)-1]
}

func TestARulerOutranksADoubtfulFloorDistance(t *testing.T) {
	t.Parallel()
	plain := lastEstimate(t, settledCase())
	assert.InDelta(t, 62.0/32, plain.Multiple.Or(0), 0.01)
	c := settledCase()
	c.Run.RulerMM, c.Run.URulerMM = Known(30), Known(0.2)
	ruled := lastEstimate(t, c)
	assert.InDelta(t, 2, ruled.Multiple.Or(0), 0.012)
	assert.InDelta(t, 30, ruled.BaseMM.Or(0), 0.1)
	assert.Less(t, ruled.MultipleU.Or(1), plain.MultipleU.Or(0)*0.8)
	// Read badly, it counts for little.
	c.Run.URulerMM = Known(20)
	assert.InDelta(t, plain.Multiple.Or(0), lastEstimate(t, c).Multiple.Or(0), 0.002)
}

func TestTheSamplesMassIsACheckOnItsBaseLevel(t *testing.T) {
	t.Parallel()
	c := settledCase()
	c.Run.SampleG = Known(c.Jar.Profile.Volume(30) * DefaultDensityGML)
	e := lastEstimate(t, c)
	// The mass is sure of 3 % of 30 mm, the jar of 1.5 mm: the base level moves to the mass by 0.73.
	assert.InDelta(t, 32-2*0.74, e.BaseMM.Or(0), 0.1)
	assert.Greater(t, e.Multiple.Or(0), 1.97)
}

func TestARunStartedLateTakesItsBaseFromTheMass(t *testing.T) {
	t.Parallel()
	c := drawnCase(3, 2, func(h float64) float64 { return ramp(h, -2, 4, 2.2) })
	c.Run.SampleG, c.Run.DensityGML, c.Run.BaseBy = Known(c.Jar.Profile.Volume(30)*1.15), Known(1.15), BaseByMass
	es := foldLevels(t, c)
	assert.InDelta(t, ramp(0, -2, 4, 2.2)/30, es[0].Multiple.Or(0), 0.03, "at once")
	assert.InDelta(t, ramp(3, -2, 4, 2.2)/30, es[len(es)-1].Multiple.Or(0), 0.02)
	// 3 % of the density, and the floor in the level alone.
	assert.InDelta(t, 0.03*es[len(es)-1].Multiple.Or(0), es[len(es)-1].MultipleU.Or(0), 0.04)

	c.Run.SampleG = Num{}
	_, err := NewTracker(c)
	assert.ErrorContains(t, err, "needs the sample's mass in g")
	c.Run.SampleG = Known(9000)
	_, err = NewTracker(c)
	assert.ErrorContains(t, err, "does not fit the jar")
}

func TestATareStandsInForTheJarsFloor(t *testing.T) {
	t.Parallel()
	c := settledCase()
	c.Jar.URepeatMM = 2
	worse := lastEstimate(t, c)
	c.Run.FloorMM, c.Run.UFloorMM = Known(150), Known(0.2)
	e := lastEstimate(t, c)
	assert.InDelta(t, 2, e.Multiple.Or(0), 0.01)
	assert.Less(t, e.MultipleU.Or(1), worse.MultipleU.Or(0)/1.5)
}

func TestTheDomeOfWheatIsTakenOff(t *testing.T) {
	t.Parallel()
	wheat := surfaceOf("wheat")
	c := drawnCase(5, 3, func(h float64) float64 {
		l := ramp(h, 1, 4.5, 2)
		return l + wheat.dome*(l-30)
	})
	c.Run.Flour = "wheat"
	e := lastEstimate(t, c)
	assert.InDelta(t, 2, e.Multiple.Or(0), 0.01)
	c.Run.Flour = ""
	assert.InDelta(t, 2+wheat.dome, lastEstimate(t, c).Multiple.Or(0), 0.01)
}

// TestTheTrackersUncertaintyAgreesWithMonteCarlo draws every input of a multiple from what is claimed of it (JCGM 101:2008)
// and puts it through the same arithmetic as the truth would take: 5 % for the standard uncertainty.
func TestTheTrackersUncertaintyAgreesWithMonteCarlo(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(c *Case){
		"plain": func(*Case) {},
		"calibrated": func(c *Case) {
			c.Jar.Scale, c.Jar.UScale, c.Jar.PivotMM, c.Jar.URepeatMM = 1.03, 0.02, 40, 0.6
		},
		"wheat in a cone": func(c *Case) {
			c.Run.Flour, c.Jar.Profile = "wheat", Profile{Shape: ShapeCone, DiameterMM: 64, Lean: 0.05}
		},
		"by ruler": func(c *Case) { c.Run.RulerMM, c.Run.URulerMM = Known(30), Known(0.5) },
		"given":    func(c *Case) { c.Run.BaseMM, c.Run.UBaseMM = Known(30), Known(0.7) },
	} {
		c := settledCase()
		change(&c)
		tr, err := NewTracker(c)
		require.NoError(t, err)
		const uBase, uLevel = 0.25, 0.2
		if !tr.base.apart {
			tr.base.set(30, uBase*uBase, 0)
		}
		tr.gate.carryVar = 0.3 * 0.3
		claimed := tr.pointAt(58, uLevel)
		r := rand.New(rand.NewPCG(1, 8))
		var sum, sum2 float64
		const n = 200_000
		for range n {
			m := tr.drawn(r, 58, uBase, uLevel)
			sum, sum2 = sum+m, sum2+m*m
		}
		sd := math.Sqrt(sum2/n - sum*sum/n/n)
		assert.InEpsilon(t, sd, claimed.u, 0.05, name)
		assert.InDelta(t, sum/n, claimed.multiple, 0.1*sd, name)
	}
}

// drawn is a multiple from inputs that are off by what is claimed of them.
func (t *Tracker) drawn(r *rand.Rand, seen, uBase, uLevel float64) float64 {
	common := t.uFloor*r.NormFloat64() + t.surface.uneven*r.NormFloat64()
	scale := t.uScale * r.NormFloat64()
	off := func(level float64) float64 { return common + scale*(level-t.jar.PivotMM) }
	level := seen + off(seen) + uLevel*r.NormFloat64() + math.Sqrt(t.gate.carryVar)*r.NormFloat64()
	base := t.base.level
	switch {
	case t.base.apart:
		base += math.Sqrt(t.base.variance) * r.NormFloat64()
	default:
		base += off(base) + uBase*r.NormFloat64()
	}
	if t.footing.known && !t.base.apart {
		v := t.uFloor*t.uFloor + t.surface.uneven*t.surface.uneven
		w := v / (v + t.footing.u*t.footing.u)
		shift := w * (t.footing.level + t.footing.u*r.NormFloat64() - base)
		base, level = base+shift, level+shift
	}
	dome := t.surface.dome + t.surface.uDome*r.NormFloat64()
	level = base + (level-base)/(1+dome)
	vl, _ := t.volume(level)
	vb, _ := t.volume(base)
	return vl / vb
}
