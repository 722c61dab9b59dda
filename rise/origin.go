package rise

import (
	"fmt"
	"math"
)

// DefaultDensityGML is the density of a settled dough before it rises, g/ml: a specific volume after mixing of 0.85 ml/g
// (Gobbetti and Gänzle, eds., Handbook on Sourdough Biotechnology 2013, table 3.4).
const DefaultDensityGML = 1.18

const (
	// uDensity is the density's standard uncertainty as a share: mixing leaves 4 to 10 % of air (Campbell, Rielly, Fryer,
	// Sadd 1993, Cereal Chem. 70:517, method; the numbers from memory).
	uDensity = 0.03
	// defaultUBaseMM is the standard uncertainty of a height that a person read without saying how well, mm: half a
	// division of a ruler either way. Common practice, no source.
	defaultUBaseMM = 0.5
)

// footing is what a run knows of its settled height besides the ranger.
type footing struct {
	level, u float64
	known    bool
}

// with takes another height into account, by weights of 1/u².
func (a footing) with(level, u float64) footing {
	if !a.known {
		return footing{level, u, true}
	}
	w := u * u / (u*u + a.u*a.u)
	return footing{w*a.level + (1-w)*level, a.u * u / math.Hypot(a.u, u), true}
}

// place works out what the jar, the run's own tare and the flour say of the levels.
func (t *Tracker) place() {
	if t.jar.isLevelsOnly() {
		return
	}
	t.surface = surfaceOf(t.run.Flour)
	t.uFloor = math.Hypot(t.jar.UFloorMM, t.jar.URepeatMM)
	t.uScale = t.jar.UScale / t.jar.scale()
	if floor, ok := t.run.FloorMM.Get(); ok {
		t.jar.FloorMM, t.uFloor = floor, t.run.UFloorMM.Or(t.jar.UFloorMM)
	}
}

// findFooting works out what the run's ruler and mass say of its base level.
func (t *Tracker) findFooting() error {
	if level, ok := t.run.BaseMM.Get(); ok {
		u := t.run.UBaseMM.Or(defaultUBaseMM)
		t.base.give(level, u*u, 0)
		return nil
	}
	mass, u, err := t.byMass()
	if err != nil {
		return err
	}
	if t.run.BaseBy == BaseByMass {
		t.base.give(mass, u*u, 0)
		return nil
	}
	if mass > 0 {
		t.footing = t.footing.with(mass, u)
	}
	if level, ok := t.run.RulerMM.Get(); ok {
		t.footing = t.footing.with(level, t.run.URulerMM.Or(defaultUBaseMM))
	}
	return nil
}

// byMass is the level that the sample's mass fills, with its standard uncertainty, mm; 0 without a mass or a jar.
func (t *Tracker) byMass() (level, u float64, err error) {
	g, ok := t.run.SampleG.Get()
	if !ok || t.jar.isLevelsOnly() {
		if t.run.BaseBy == BaseByMass {
			return 0, 0, fmt.Errorf("a base level by mass needs the sample's mass in g and a jar")
		}
		return 0, 0, nil
	}
	ml := g / t.run.DensityGML.Or(DefaultDensityGML)
	level, ok = t.jar.Profile.Level(ml)
	if !ok || level > t.jar.FloorMM {
		return 0, 0, fmt.Errorf("a sample of %.0f g does not fit the jar: weigh it again", g)
	}
	_, perMM := t.volume(level)
	return level, uDensity * ml / perMM, nil
}

// checkRun tells what makes a run's numbers impossible.
func checkRun(r Run) error {
	if !(r.Target > 1 && r.Target <= 10) {
		return fmt.Errorf("target of ×%g cannot be: it must be above 1 and at most 10 (2.0 is doubled)", r.Target)
	}
	for _, c := range []struct {
		what      string
		n         Num
		low, high float64
		unit      string
	}{
		{"base level", r.BaseMM, 1, 1000, "mm"},
		{"base level's uncertainty", r.UBaseMM, 0, 100, "mm"},
		{"height by ruler", r.RulerMM, 1, 1000, "mm"},
		{"uncertainty of the height by ruler", r.URulerMM, 0, 100, "mm"},
		{"floor distance by tare", r.FloorMM, 5, 2000, "mm"},
		{"uncertainty of the floor distance by tare", r.UFloorMM, 0, 50, "mm"},
		{"sample", r.SampleG, 1, 10_000, "g"},
		{"dough's density", r.DensityGML, 0.2, 2, "g/ml"},
	} {
		if v, ok := c.n.Get(); ok {
			if err := inside(c.what, v, c.low, c.high, c.unit); err != nil {
				return err
			}
		}
	}
	return nil
}
