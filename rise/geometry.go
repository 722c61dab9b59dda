package rise

import (
	"fmt"
	"math"
)

// Optics are a chip's figures that decide what it can see in a jar.
type Optics struct {
	// ConeDeg is the full angle of the cone in which a target is seen, degrees.
	ConeDeg float64
	// NearestMM is the nearest distance that can be trusted, mm.
	NearestMM float64
}

// SpotMM is the diameter of what is seen at a distance, mm, the source taken as a point.
func (o Optics) SpotMM(distanceMM float64) float64 {
	return 2 * distanceMM * math.Tan(o.ConeDeg*math.Pi/360)
}

// WallDepthMM is the distance at which a cone in the middle of a straight jar touches its wall, mm.
func (o Optics) WallDepthMM(diameterMM float64) float64 {
	return diameterMM / 2 / math.Tan(o.ConeDeg*math.Pi/360)
}

// UWallMM is the standard uncertainty that a wall in view adds to a range, mm: a share of wallMM for the share of the spot
// that falls on it. A calibration adds it to the range of the floor, which so weighs least where the cone meets the wall.
func (o Optics) UWallMM(distanceMM, diameterMM float64) float64 {
	spot := o.SpotMM(distanceMM)
	if spot <= diameterMM {
		return 0
	}
	share := diameterMM / spot
	return wallMM * (1 - share*share)
}

// wallMM is how far a wall that fills the view pulls a range, mm: the order of a bare chip's stated error.
const wallMM = 8.0

// DiameterAt is the inner diameter at a level, mm.
func (p Profile) DiameterAt(levelMM float64) float64 {
	_, mlPerMM := p.compile()(levelMM)
	return 2 * math.Sqrt(max(mlPerMM, 0)*1000/math.Pi)
}

// wallLevel is the highest level at which the cone, on its way down from the ranger, touches the wall; 0 if it reaches
// the floor freely.
func (j Jar) wallLevel(o Optics) float64 {
	curve := j.Profile.compile()
	for level := j.FloorMM - o.NearestMM; level > 0; level-- {
		_, mlPerMM := curve(level)
		if o.SpotMM(j.Range(level)) > 2*math.Sqrt(max(mlPerMM, 0)*1000/math.Pi) {
			return level
		}
	}
	return 0
}

// highest is the level at which the surface comes too near to the ranger.
func (j Jar) highest(o Optics) float64 { return j.Level(o.NearestMM) }

// Room is how many times the volume at a base level the jar holds before the surface comes too near.
func (j Jar) Room(baseMM float64, o Optics) float64 {
	return j.Profile.Volume(j.highest(o)) / j.Profile.Volume(baseMM)
}

// spare is how far beyond its target a run must have room: a starter to ×3 at least, since it is watched to its peak, a
// dough by half its base volume.
func spare(kind RunKind, target float64) float64 {
	if kind == RunStarter {
		return max(3, target)
	}
	return target + 0.5
}

// Fill is what a sample does in a jar.
type Fill struct {
	// BaseMM is its settled level, Room how many times its volume there is room for, Needed how many times there must be.
	BaseMM, Room, Needed float64
	// Grams is its mass, g.
	Grams float64
	// Warnings are said to the baker; the fill can be used all the same.
	Warnings []string
}

// String says the fill in one line.
func (f Fill) String() string {
	return fmt.Sprintf("%.0f g gives %.0f mm, room for ×%.1f", f.Grams, f.BaseMM, f.Room)
}

// FillByLevel is the fill to a base level at a density in g/ml. A fill that would come too near to the ranger is an
// error that says how much would do.
func (j Jar) FillByLevel(baseMM, densityGML float64, kind RunKind, target float64, o Optics) (Fill, error) {
	if baseMM <= 0 || baseMM >= j.highest(o) {
		return Fill{}, fmt.Errorf("a fill of %g mm cannot be: the jar is used from 0 to %.0f mm", baseMM, j.highest(o))
	}
	f := Fill{BaseMM: baseMM, Room: j.Room(baseMM, o), Needed: spare(kind, target), Grams: j.Profile.Volume(baseMM) * densityGML}
	if f.Room < f.Needed {
		most, _ := j.Profile.Level(j.Profile.Volume(j.highest(o)) / f.Needed)
		return f, fmt.Errorf("%s, but ×%.1f is needed: take %.0f g at most (%.0f mm), or a taller jar", f, f.Needed, j.Profile.Volume(most)*densityGML, most)
	}
	if wall := j.wallLevel(o); wall > baseMM {
		f.Warnings = append(f.Warnings, fmt.Sprintf("the sensor sees the wall below %.0f mm: a wider jar, or a higher fill, is seen better", wall))
	}
	if baseMM < thinMM {
		f.Warnings = append(f.Warnings, fmt.Sprintf("a sample of %.0f mm is thin: 1 mm is %.1f %% of rise", baseMM, 100*j.PerMM(baseMM)))
	}
	return f, nil
}

// thinMM is a base level under which a millimetre weighs too much. Common practice, no source.
const thinMM = 20.0

// FillByMass is the fill of a sample's mass, g.
func (j Jar) FillByMass(grams, densityGML float64, kind RunKind, target float64, o Optics) (Fill, error) {
	level, ok := j.Profile.Level(grams / densityGML)
	if !ok || grams <= 0 {
		return Fill{}, fmt.Errorf("a sample of %g g does not fit jar %s: weigh it again", grams, j.Name)
	}
	return j.FillByLevel(level, densityGML, kind, target, o)
}

// PerMM is the growth of the multiple for 1 mm of level at a base level.
func (j Jar) PerMM(baseMM float64) float64 {
	v, perMM := j.Profile.compile()(baseMM)
	return perMM / v
}
