package rise

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Height is one height in a jar at which the range is known: a matte white card on a stack measured by ruler, or on the
// floor.
type Height struct {
	// LevelMM is the card's height above the jar's floor by ruler, ULevelMM its standard uncertainty, mm.
	LevelMM  float64 `json:"level_mm"`
	ULevelMM float64 `json:"u_level_mm"`
	// RangeMM is the mean range to it, URangeMM its standard uncertainty, mm.
	RangeMM  float64 `json:"range_mm"`
	URangeMM float64 `json:"u_range_mm"`
}

// Fit is a calibration of a jar's levels: a straight line through heights.
type Fit struct {
	FloorMM, UFloorMM      float64
	Scale, UScale, PivotMM float64
	// WorstMM is how far the height that fits worst, against its uncertainty, lies above the line, mm, and Worst its place
	// in the input.
	WorstMM float64
	Worst   int
	// Word says how well the line fits: see the words.
	Word FitWord
}

// FitWord says how well a line fits.
type FitWord string

// The words. FitUntested is two heights: a line through two always fits.
const (
	FitGood     FitWord = "good"
	FitFair     FitWord = "fair"
	FitPoor     FitWord = "poor"
	FitUntested FitWord = "untested"
)

// The least that a calibration must offer.
const (
	leastApartMM = 10.0 // between the lowest and the highest height
	leastStepMM  = 3.0  // between any two
)

// FitHeights finds floor distance and scale from two or more heights by weighted least squares, each weighed by its
// level's and its range's uncertainty. What is wrong with the heights is said in the error.
func FitHeights(heights []Height) (Fit, error) {
	if err := checkHeights(heights); err != nil {
		return Fit{}, err
	}
	n := len(heights)
	x, y, w := make([]float64, n), make([]float64, n), make([]float64, n)
	scale := 1.0
	var l pivotLine
	for range 3 { // the range's uncertainty counts by the scale, which is near 1
		for i, h := range heights {
			x[i], y[i] = -h.RangeMM, h.LevelMM
			u := math.Hypot(math.Max(h.ULevelMM, 0.05), scale*h.URangeMM)
			w[i] = 1 / (u * u)
		}
		l, _ = fitLine(x, y, w)
		scale = l.slope
	}
	if scale < 0.7 || scale > 1.4 {
		return Fit{}, fmt.Errorf("the ranges change by %.2f mm for each mm of height: measure the heights and the ranges again", 1/scale)
	}
	f := Fit{Scale: l.slope, PivotMM: l.at}
	f.FloorMM = -l.pivot + l.at/l.slope
	f.Worst, f.WorstMM, f.Word = judge(l, x, y, w)
	l = l.widened()
	f.UFloorMM, f.UScale = l.uAt, l.uSlope
	return f, nil
}

// judge finds the worst residual and the word for the fit: good where all lie within two standard uncertainties, fair
// within three.
func judge(l pivotLine, x, y, w []float64) (worst int, residual float64, word FitWord) {
	most := -1.0
	for i := range x {
		r := y[i] - l.value(x[i])
		if k := math.Abs(r) * math.Sqrt(w[i]); k > most {
			most, worst, residual = k, i, r
		}
	}
	switch {
	case l.dof < 1:
		word = FitUntested
	case most <= 2:
		word = FitGood
	case most <= 3:
		word = FitFair
	default:
		word = FitPoor
	}
	return worst, residual, word
}

// checkHeights wants heights that a jar can have, each with a shorter range the higher it is.
func checkHeights(heights []Height) error {
	if len(heights) < 2 {
		return errors.New("a calibration needs at least 2 heights: the floor and a card on a stack")
	}
	sorted := slices.SortedFunc(slices.Values(heights), func(a, b Height) int { return cmp.Compare(a.LevelMM, b.LevelMM) })
	for i, h := range sorted {
		if err := checkHeight(h); err != nil {
			return err
		}
		if i == 0 {
			continue
		}
		below := sorted[i-1]
		if h.LevelMM-below.LevelMM < leastStepMM {
			return fmt.Errorf("two heights are at one level, %g mm and %g mm: stack them at least %g mm apart", below.LevelMM, h.LevelMM, leastStepMM)
		}
		if h.RangeMM >= below.RangeMM {
			return fmt.Errorf("the card at %g mm is seen at %.1f mm, no nearer than the one at %g mm: has something moved, or were they mixed up?",
				h.LevelMM, h.RangeMM, below.LevelMM)
		}
	}
	if apart := sorted[len(sorted)-1].LevelMM - sorted[0].LevelMM; apart < leastApartMM {
		return fmt.Errorf("the heights span only %g mm: at least %g mm are needed", apart, leastApartMM)
	}
	return nil
}

func checkHeight(h Height) error {
	return errors.Join(
		inside("height", h.LevelMM, 0, 1000, "mm"),
		inside("height's uncertainty", h.ULevelMM, 0, 20, "mm"),
		inside("range", h.RangeMM, 1, 2000, "mm"),
		inside("range's uncertainty", h.URangeMM, 0, 20, "mm"),
	)
}

// Apply is the jar with the fit's levels.
func (f Fit) Apply(j Jar) Jar {
	j.FloorMM, j.UFloorMM = f.FloorMM, f.UFloorMM
	j.Scale, j.UScale, j.PivotMM = f.Scale, f.UScale, f.PivotMM
	return j
}

// Repeatability is the standard uncertainty of where the ranger stands after it was put back once more, mm, from the
// floor distances found in three or more mountings: their standard deviation, widened for how few they are (the standard
// deviation of Student's t for a further value, JCGM 101:2008, 6.4.9.4), uEach being each distance's own uncertainty.
func Repeatability(floors []float64, uEach float64) (float64, error) {
	n := float64(len(floors))
	if n < 4 {
		return 0, fmt.Errorf("repeatability needs 4 mountings, there are %d: lift the lid and put it back", len(floors))
	}
	mean, sum := 0.0, 0.0
	for _, f := range floors {
		mean += f / n
	}
	for _, f := range floors {
		sum += (f - mean) * (f - mean)
	}
	s2 := sum/(n-1)*(1+1/n)*(n-1)/(n-3) - uEach*uEach
	return math.Sqrt(max(s2, 0)), nil
}

// TareFloor is the floor distance of one run, mm, with its standard uncertainty: the range to a matte white disc of a
// stated thickness on the floor of the empty jar. The bare floor is refused, for the light goes through glass.
func TareFloor(j Jar, rangeMM, uRangeMM, discMM float64) (floorMM, uFloorMM float64, err error) {
	if err := inside("disc's thickness", discMM, 0.1, 30, "mm"); err != nil {
		return 0, 0, fmt.Errorf("%w: lay a matte white disc on the floor, the sensor does not see bare glass", err)
	}
	floorMM = rangeMM + discMM/j.scale()
	usual := math.Hypot(j.UFloorMM, j.URepeatMM)
	if off := floorMM - j.FloorMM; math.Abs(off) > max(5, 5*usual) {
		return 0, 0, fmt.Errorf("the floor is %.1f mm from where jar %s has it: is it this jar, empty, and the sensor in its place?", off, j.Name)
	}
	// The line's own error away from its pivot stays, what the mounting does to the distance is gone.
	return floorMM, math.Hypot(uRangeMM, 0.2), nil
}
