package rise

import "math"

// pivotLine is y = at + slope·(x − pivot) by weighted least squares, the pivot being the weighted mean of x, so that the errors
// of at and slope are independent.
type pivotLine struct {
	pivot, at, slope float64
	uAt, uSlope      float64
	// chi2 is the weighted sum of squared residuals, dof the degrees of freedom.
	chi2 float64
	dof  int
}

// fitLine fits a line to points with the weights 1/u². It is false where the x are not two different ones.
func fitLine(x, y, weight []float64) (pivotLine, bool) {
	var w, wx, wy float64
	for i := range x {
		w += weight[i]
		wx += weight[i] * x[i]
		wy += weight[i] * y[i]
	}
	l := pivotLine{pivot: wx / w, at: wy / w, uAt: math.Sqrt(1 / w), dof: len(x) - 2}
	var xx, xy float64
	for i := range x {
		d := x[i] - l.pivot
		xx += weight[i] * d * d
		xy += weight[i] * d * (y[i] - l.at)
	}
	if !(xx > 0) || len(x) < 2 {
		return pivotLine{}, false
	}
	l.slope, l.uSlope = xy/xx, math.Sqrt(1/xx)
	for i := range x {
		r := y[i] - l.value(x[i])
		l.chi2 += weight[i] * r * r
	}
	return l, true
}

func (l pivotLine) value(x float64) float64 { return l.at + l.slope*(x-l.pivot) }

// widened is the line with its uncertainties multiplied by the square root of chi²/dof where that is above 1: the points
// scatter by more than they promise.
func (l pivotLine) widened() pivotLine {
	if l.dof > 0 {
		k := math.Sqrt(max(1, l.chi2/float64(l.dof)))
		l.uAt, l.uSlope = l.uAt*k, l.uSlope*k
	}
	return l
}
