package rise

import (
	"errors"
	"fmt"
	"math"
)

// Check tells what makes a jar impossible, in words that say what to do. A jar without a name, floor distance and
// profile is sound: it stands for a recording that gives levels.
func (j Jar) Check() error {
	if j.isLevelsOnly() {
		return nil
	}
	if err := inside("floor distance", j.FloorMM, 5, 2000, "mm"); err != nil {
		return err
	}
	if err := inside("floor distance's uncertainty", j.UFloorMM, 0, 50, "mm"); err != nil {
		return err
	}
	if err := inside("scale", j.scale(), 0.5, 2, "mm per mm"); err != nil {
		return err
	}
	if err := inside("scale's uncertainty", j.UScale, 0, 0.5, "mm per mm"); err != nil {
		return err
	}
	if err := inside("repeatability of the mounting", j.URepeatMM, 0, 50, "mm"); err != nil {
		return err
	}
	return j.Profile.Check()
}

// isLevelsOnly tells that there is no jar, so that only readings with a level can be used.
func (j Jar) isLevelsOnly() bool { return j.FloorMM == 0 && j.Profile.Shape == "" }

// Check tells what makes a profile impossible.
func (p Profile) Check() error {
	switch p.Shape {
	case ShapeCylinder:
		return inside("inner diameter", p.DiameterMM, 5, 1000, "mm")
	case ShapeCone:
		if err := inside("inner diameter at the floor", p.DiameterMM, 5, 1000, "mm"); err != nil {
			return err
		}
		return inside("lean of the wall", p.Lean, -0.5, 1, "mm per mm")
	case ShapePoured:
		return checkPoured(p.Points)
	case "":
		return errors.New("the jar has no shape: give its inner diameter")
	}
	return fmt.Errorf("unknown shape %q: use %s, %s or %s", p.Shape, ShapeCylinder, ShapeCone, ShapePoured)
}

// checkPoured wants a table that a glass can have: levels and volumes both rising, from the floor up.
func checkPoured(points []PouredPoint) error {
	if len(points) < 2 {
		return fmt.Errorf("a poured table needs at least 2 points, this one has %d: pour on", len(points))
	}
	level, volume := 0.0, 0.0
	for i, q := range points {
		n := i + 1
		if err := inside(fmt.Sprintf("level of point %d", n), q.LevelMM, 0, 1000, "mm"); err != nil {
			return err
		}
		if err := inside(fmt.Sprintf("volume of point %d", n), q.VolumeML, 0, 100_000, "ml"); err != nil {
			return err
		}
		if i == 0 && q == (PouredPoint{}) {
			continue
		}
		if q.LevelMM <= level {
			return fmt.Errorf("point %d is at %g mm, not above %g mm before it: read its level again or leave it out", n, q.LevelMM, level)
		}
		if q.VolumeML <= volume {
			return fmt.Errorf("point %d holds %g ml, not more than %g ml before it: weigh it again or leave it out", n, q.VolumeML, volume)
		}
		level, volume = q.LevelMM, q.VolumeML
	}
	return nil
}

// inside refuses a value that is no number or outside of what can be.
func inside(what string, v, low, high float64, unit string) error {
	if math.IsNaN(v) || v < low || v > high {
		return fmt.Errorf("%s of %g %s cannot be: it must be from %g to %g %s", what, v, unit, low, high, unit)
	}
	return nil
}
