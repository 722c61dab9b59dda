package rise

import (
	"fmt"
	"math"
)

// Ability is what a jar can tell of a sample.
type Ability struct {
	// PerMMPct is the rise that 1 mm of level stands for, %; DoubledPct twice the standard uncertainty of the multiple when
	// it is 2, %; Minutes how long a sample at UsualPacePctH takes for that.
	PerMMPct, DoubledPct, Minutes float64
}

// UsualPacePctH is a usual growth near doubling, % of the base volume per hour: the largest slopes of doughs with 10 to
// 20 % prefermented flour at 21 to 25 °C are 10 to 35 (order of magnitude, no source).
const UsualPacePctH = 20.0

// String says the ability in one sentence.
func (a Ability) String() string {
	return fmt.Sprintf("1 mm is %.1f %% rise; doubling known to ±%.1f %%, about ±%.0f minutes at a usual pace", a.PerMMPct, a.DoubledPct, a.Minutes)
}

// Ability is what the jar can tell of a flour's sample with a base level, mm, by the uncertainties of jar, mounting and
// surface, and a well averaged range.
func (j Jar) Ability(baseMM float64, flour string) Ability {
	curve := j.Profile.compile()
	vb, perMM := curve(baseMM)
	top, _ := j.Profile.Level(2 * vb)
	s := surfaceOf(flour)
	common := math.Sqrt(j.UFloorMM*j.UFloorMM + j.URepeatMM*j.URepeatMM + s.uneven*s.uneven)
	uScale := j.UScale / j.scale()
	_, u, _ := multipleOf(curve, baseMM, top,
		effect{common, common},
		effect{level: uScale * (top - j.PivotMM), base: uScale * (baseMM - j.PivotMM)},
		effect{level: s.uDome * (top - baseMM)},
		effect{base: averagedMM}, effect{level: averagedMM})
	return Ability{PerMMPct: 100 * perMM / vb, DoubledPct: 200 * u, Minutes: 60 * 200 * u / UsualPacePctH}
}

// averagedMM is the standard uncertainty of a smoothed level: 1 mm of noise of one range, averaged over 20 ranges and
// some minutes.
const averagedMM = 0.12
