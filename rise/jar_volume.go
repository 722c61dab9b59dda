package rise

import (
	"math"

	"gonum.org/v1/gonum/interp"
)

// Volume is the volume below a level, ml. The level is in mm above the jar's floor; below the floor the volume is
// negative. A poured table is interpolated by monotone cubics (Fritsch and Butland 1984, SIAM J. Sci. Stat. Comput.
// 5:300–304) and continued in a straight line beyond its last point. The profile must be sound, see Check.
func (p Profile) Volume(levelMM float64) float64 {
	v, _ := p.compile()(levelMM)
	return v
}

// Level is the level at which the jar holds a volume, mm: the inverse of Volume. It is false where no level up to
// 1 m holds it.
func (p Profile) Level(volumeML float64) (float64, bool) {
	curve := p.compile()
	lo, hi := 0.0, 1000.0
	if p.Shape == ShapeCone && p.Lean < 0 {
		hi = min(hi, -p.DiameterMM/2/p.Lean)
	}
	top, _ := curve(hi)
	if volumeML < 0 || volumeML > top {
		return 0, false
	}
	for range 60 {
		mid := (lo + hi) / 2
		if v, _ := curve(mid); v < volumeML {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2, true
}

// Level is the height of a surface above the jar's floor for a range, mm.
func (j Jar) Level(rangeMM float64) float64 { return j.scale() * (j.FloorMM - rangeMM) }

// Range is the range at which a surface at a level is seen, mm: the inverse of Level.
func (j Jar) Range(levelMM float64) float64 { return j.FloorMM - levelMM/j.scale() }

func (j Jar) scale() float64 {
	if j.Scale == 0 {
		return 1
	}
	return j.Scale
}

// volumeCurve gives the volume below a level, ml, and its growth per mm.
type volumeCurve func(levelMM float64) (ml, mlPerMM float64)

// compile makes the curve of a sound profile. The zero profile is a straight wall of 1 ml/mm, so that its volumes are
// levels.
func (p Profile) compile() volumeCurve {
	switch p.Shape {
	case ShapeCylinder:
		area := math.Pi / 4 * p.DiameterMM * p.DiameterMM / 1000
		return func(h float64) (float64, float64) { return area * h, area }
	case ShapeCone:
		return p.frustum()
	case ShapePoured:
		return p.poured()
	}
	return func(h float64) (float64, float64) { return h, 1 }
}

// frustum is V = πh(r² + rhk + h²k²/3) with floor radius r and lean k. Below the floor it goes on as a cylinder; a wall
// that meets itself at the top ends there.
func (p Profile) frustum() volumeCurve {
	r, k := p.DiameterMM/2, p.Lean
	apex := math.Inf(1)
	if k < 0 {
		apex = -r / k
	}
	return func(h float64) (float64, float64) {
		h = min(h, apex)
		if h < 0 {
			return math.Pi * r * r * h / 1000, math.Pi * r * r / 1000
		}
		top := r + k*h
		return math.Pi * h * (r*r + r*h*k + h*h*k*k/3) / 1000, math.Pi * top * top / 1000
	}
}

// poured interpolates the table, from the floor at volume 0 unless the table begins there.
func (p Profile) poured() volumeCurve {
	var levels, volumes []float64
	if len(p.Points) > 0 && p.Points[0].LevelMM > 0 {
		levels, volumes = append(levels, 0), append(volumes, 0)
	}
	for _, q := range p.Points {
		levels, volumes = append(levels, q.LevelMM), append(volumes, q.VolumeML)
	}
	var cubic interp.FritschButland
	if cubic.Fit(levels, volumes) != nil {
		return Profile{}.compile()
	}
	first, last := levels[0], levels[len(levels)-1]
	return func(h float64) (float64, float64) {
		inside := min(max(h, first), last)
		v, dv := cubic.Predict(inside), cubic.PredictDerivative(inside)
		return v + dv*(h-inside), dv
	}
}
