package rise

import "math"

// fitStatus says how a least-squares fit ended.
type fitStatus string

// The ends of a fit. Only the first two give parameters that are a minimum.
const (
	// fitConverged: the residual is orthogonal to the model's tangent plane, within the tolerance.
	fitConverged fitStatus = "converged"
	// fitAtBound: converged with at least one parameter held at its bound.
	fitAtBound fitStatus = "at a bound"
	// fitFlat: the data do not determine every parameter; there are no standard errors.
	fitFlat fitStatus = "flat"
	// fitTooFew: fewer residuals than parameters.
	fitTooFew fitStatus = "too few"
	// fitStopped: no minimum was found within the allowed iterations, or the start gives no finite residuals.
	fitStopped fitStatus = "stopped"
)

// fitProblem is a nonlinear least-squares problem: find the parameters that minimise the sum of squared residuals. A
// prior is one more residual, (parameter − mean)/sd; with residuals in units of their standard deviation the minimum
// is then the maximum of the posterior.
type fitProblem struct {
	// rows counts the residuals.
	rows int
	// residuals writes the residuals at p into r. Values that are not finite refuse the step that led to p.
	residuals func(p, r []float64)
	// jacobian writes their derivatives at p into jac: row by row, a column a parameter.
	jacobian func(p, jac []float64)
	// lower and upper bound the parameters; nil is unbounded.
	lower, upper []float64
	// iterations is the most to take; 0 is 200.
	iterations int
	// tolerance is the cosine of the angle between residual and tangent plane at which a fit has converged (Bates and
	// Watts 1981, Technometrics 23:179: the relative offset); 0 is 1e-9.
	tolerance float64
}

// fitResult is what a fit found. Its slices belong to the fitter and hold until its next fit.
type fitResult struct {
	params []float64
	// rss is the sum of squared residuals, df the residuals less the parameters.
	rss float64
	df  int
	// cov is the inverse of JᵀJ, row by row: the covariance of the parameters for residuals in units of their standard
	// deviation. It is nil if the fit is flat or had too few residuals; of a stopped fit it is that of its last step.
	cov []float64
	// lnDet is the logarithm of the determinant of JᵀJ, where cov is not nil.
	lnDet      float64
	iterations int
	status     fitStatus
}

// residualSD is the standard deviation of the residuals; 0 without degrees of freedom.
func (r fitResult) residualSD() float64 {
	if r.df <= 0 {
		return 0
	}
	return math.Sqrt(r.rss / float64(r.df))
}

// se is the standard error of parameter i for residuals of standard deviation sd. It is unknown without covariance, and
// for a parameter held at its bound.
func (r fitResult) se(i int, sd float64) Num {
	n := len(r.params)
	if r.cov == nil || r.cov[i*n+i] == 0 {
		return Num{}
	}
	return Known(sd * math.Sqrt(r.cov[i*n+i]))
}

// variance is gᵀ·cov·g: by the law of propagation, the variance of a quantity whose gradient over the parameters is g,
// for residuals in units of their standard deviation.
func (r fitResult) variance(g []float64) Num {
	if r.cov == nil {
		return Num{}
	}
	v := 0.0
	for i, gi := range g {
		for j, gj := range g {
			v += gi * gj * r.cov[i*len(g)+j]
		}
	}
	return Known(v)
}
