package rise

import "math"

// point is the multiple at a moment.
type point struct {
	multiple float64
	// u is its standard uncertainty, random the part of it that is not common to the moments of a run.
	u, random float64
	known     bool
}

// inputs are the levels behind a multiple with their standard uncertainties, mm. The floor's is common to both levels.
type inputs struct{ base, level, uBase, uLevel, uFloor float64 }

// multipleOf is the multiple and its standard uncertainty by the law of propagation (JCGM 100:2008, 5.1.2, eq. 10), the
// floor distance being one input of both levels: d(multiple)/d(floor) = (V'(level) − multiple·V'(base))/V(base), for a
// cylinder (1 − multiple)/base.
func multipleOf(volume volumeCurve, in inputs) point {
	vb, db := volume(in.base)
	vl, dl := volume(in.level)
	if !(vb > 0) {
		return point{}
	}
	m := vl / vb
	byLevel, byBase, byFloor := dl/vb, m*db/vb, (dl-m*db)/vb
	random := math.Hypot(byLevel*in.uLevel, byBase*in.uBase)
	return point{multiple: m, u: math.Hypot(random, byFloor*in.uFloor), random: random, known: true}
}

// point is the multiple now. Where readings have been missing the last smoothed level is held, and its doubt grows by
// what the sample may have risen or fallen since.
func (t *Tracker) point() point {
	if !t.base.known || !t.gate.smooth.begun {
		return point{}
	}
	s := t.gate.smooth
	p := s.predicted(t.now.hours)
	missed := p.x - s.x
	u := math.Sqrt(p.pxx + missed*missed + t.gate.rounding + t.gate.carryVar)
	return multipleOf(t.volume, inputs{base: t.base.level, level: s.x, uBase: math.Sqrt(t.base.variance), uLevel: u, uFloor: t.uCommon()})
}

// unevenMM is the standard uncertainty of a level for a surface that is not flat where the ranger looks, mm; it is
// common to the levels of a run, since the surface keeps its shape as it rises. Common practice, no source.
const unevenMM = 0.3

// uCommon is the standard uncertainty of what shifts all levels of the run alike, mm.
func (t *Tracker) uCommon() float64 {
	if t.jar.isLevelsOnly() {
		return 0
	}
	return math.Hypot(t.jar.UFloorMM, unevenMM)
}
