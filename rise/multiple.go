package rise

import "math"

// point is the multiple at a moment.
type point struct {
	multiple float64
	// u is its standard uncertainty, random the part of it that is not common to the moments of a run.
	u, random float64
	known     bool
}

// effect is one independent source of error: how it shifts the level and the base level, each in mm at one standard
// uncertainty.
type effect struct{ level, base float64 }

// multipleOf is the multiple and its standard uncertainty by the law of propagation (JCGM 100:2008, 5.1.2, eq. 10): the
// sum of squares over independent effects, each taken through both levels at once, since what shifts them alike mostly
// cancels: for a cylinder d(multiple)/d(floor) = (1 − multiple)/base level.
func multipleOf(volume volumeCurve, base, level float64, effects ...effect) (m, u float64, ok bool) {
	vb, db := volume(base)
	vl, dl := volume(level)
	if !(vb > 0) {
		return 0, 0, false
	}
	m = vl / vb
	sum := 0.0
	for _, e := range effects {
		d := (dl*e.level - m*db*e.base) / vb
		sum += d * d
	}
	return m, math.Sqrt(sum), true
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
	uLevel := math.Sqrt(p.pxx + missed*missed + t.gate.rounding)
	return t.pointAt(s.x, uLevel)
}

// pointAt is the multiple at an optical level with the standard uncertainty of its own.
func (t *Tracker) pointAt(optical, uOptical float64) point {
	in := t.levelsAt(optical)
	uBase := math.Sqrt(t.base.variance)
	random := [2]effect{{level: uOptical * in.share}, {base: uBase}}
	common := effect{level: in.uCommon, base: in.uCommon}
	if t.base.apart {
		common.base = 0
	} else {
		w := in.weight
		random[1] = effect{base: (1 - w) * uBase, level: ((1-in.share)*(1-w) - in.share*w) * uBase}
	}
	m, u, ok := multipleOf(t.volume, in.base, in.level, random[0], random[1], common,
		effect{level: math.Sqrt(t.gate.carryVar) * in.share},
		effect{level: t.uScale * (in.level - t.jar.PivotMM), base: t.uScale * (in.base - t.jar.PivotMM)},
		effect{level: t.surface.uDome * max(0, in.level-in.base)},
	)
	if !ok {
		return point{}
	}
	_, r, _ := multipleOf(t.volume, in.base, in.level, random[0], random[1])
	return point{multiple: m, u: u, random: r, known: true}
}

// levels are a base level and a level as the mean surface is believed to stand, mm.
type levels struct {
	base, level float64
	// share is how much of a shift of the surface's middle is one of its mean.
	share float64
	// uCommon is the standard uncertainty of what shifts both alike, weight how far they follow the run's own knowledge of
	// its base level.
	uCommon, weight float64
}

// levelsAt places an optical level. Where the run knows its settled height by ruler or by mass, all levels are shifted
// towards it by the weight that the uncertainties give it (the weighted mean of JCGM 100:2008, F.1.2, two inputs).
func (t *Tracker) levelsAt(optical float64) levels {
	in := levels{base: t.base.level, uCommon: math.Hypot(t.uFloor, t.surface.uneven)}
	if a := t.footing; a.known && !t.base.apart {
		v, va := in.uCommon*in.uCommon, a.u*a.u
		in.weight = 1
		if v+va > 0 {
			in.weight = v / (v + va)
			in.uCommon = math.Sqrt(v * va / (v + va))
		}
	}
	shift := in.weight * (t.footing.level - t.base.level)
	in.base += shift
	in.level, in.share = t.surface.mean(in.base, optical+shift)
	return in
}

// uBase is the base level's whole standard uncertainty, mm.
func (t *Tracker) uBase(in levels) float64 {
	if t.base.apart {
		return math.Sqrt(t.base.variance)
	}
	return math.Hypot((1-in.weight)*math.Sqrt(t.base.variance), in.uCommon)
}

// multipleAt is the multiple at an optical level without its uncertainty.
func (t *Tracker) multipleAt(optical float64) float64 {
	in := t.levelsAt(optical)
	vb, _ := t.volume(in.base)
	vl, _ := t.volume(in.level)
	return vl / vb
}
