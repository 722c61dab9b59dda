package dough_test

import (
	"testing"
	"time"

	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
)

func TestFreshDoughSlumps(t *testing.T) {
	p := dough.Default()
	d := dough.New(p)
	assert.InDelta(t, p.BaseMM*1.05, d.LevelMM(), 1e-9)
	assert.InDelta(t, 1, d.Multiple(), 1e-12)
	d.Step(time.Duration(p.SlumpH*float64(time.Hour)), 24)
	assert.InDelta(t, p.BaseMM*0.05/2.718281828, d.LevelMM()-p.BaseMM*d.Multiple(), 0.01, "one time constant later")
}

func TestSurfaceDomesAndBlisters(t *testing.T) {
	p := dough.Default()
	d := dough.New(p)
	burst := 0.0
	for d.Multiple() < 2.2 {
		before, n := d.SurfaceMM(), d.Bursts()
		d.Step(30*time.Second, 24)
		if d.Bursts() > n {
			burst = max(burst, before-d.SurfaceMM())
		}
	}
	assert.InDelta(t, p.BaseMM*p.Flour.DomePct/100, d.DomeMM(), 0.3)
	assert.Greater(t, d.Bursts(), 0)
	assert.Greater(t, burst, 0.1, "mm: a burst is seen")
	assert.Less(t, burst, 2.5)
}

func TestRyeStaysFlat(t *testing.T) {
	p := dough.Default()
	p.Flour.DomePct = 0
	n := dough.Simulate(p, dough.Steady(24), dough.Span{Hours: 12})
	d := dough.New(p)
	d.Step(12*time.Hour, 24)
	assert.Zero(t, d.DomeMM())
	assert.Len(t, n.Multiple, 12*120+1)
}
