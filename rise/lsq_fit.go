package rise

import (
	"math"
	"slices"
)

// fitter solves least-squares problems by the method of Levenberg and Marquardt (1963, J. SIAM 11:431) with the damping
// of Nielsen (1999, report IMM-REP-1999-05, Technical University of Denmark), on a QR factorisation of the
// Jacobian. It keeps its buffers between fits; the zero value is ready.
type fitter struct {
	p, trial, step, scale []float64
	r, rTrial, work       []float64
	jac, tri, damped, rhs []float64
	qtr                   []float64
	cov                   []float64
	held                  []bool
	prob                  fitProblem
	// rss is the sum of squares now, first what it was at the start; lambda is the damping, nu its growth.
	rss, first, lambda, nu float64
}

// fit solves the problem from the given start, which it clips to the bounds and does not change.
func (f *fitter) fit(prob fitProblem, start []float64) fitResult {
	f.begin(prob, start)
	n := len(start)
	res := fitResult{params: f.p, df: prob.rows - n, status: fitStopped}
	if prob.rows < n {
		res.status = fitTooFew
		return res
	}
	if f.rss = f.evaluate(f.p, f.r); math.IsInf(f.rss, 1) {
		res.rss = f.rss
		return res
	}
	f.first = f.rss
	for res.iterations < f.prob.iterations {
		f.linearise()
		if f.along() <= f.prob.tolerance*f.prob.tolerance*f.rss || !f.improve() {
			res.status = f.ending()
			break
		}
		res.iterations++
	}
	res.rss = f.rss
	if res.iterations == 0 && res.status == fitStopped || res.status == fitFlat || f.flat() {
		return res
	}
	res.cov, res.lnDet = f.covariance(), f.lnDet()
	return res
}

// begin sizes the buffers and clips the start to the bounds.
func (f *fitter) begin(prob fitProblem, start []float64) {
	if prob.iterations == 0 {
		prob.iterations = 200
	}
	if prob.tolerance == 0 {
		prob.tolerance = 1e-9
	}
	f.prob, f.lambda, f.nu = prob, 1e-3, 2
	n, m := len(start), prob.rows
	for _, b := range []*[]float64{&f.p, &f.trial, &f.step, &f.scale, &f.qtr} {
		*b = sized(*b, n)
	}
	for _, b := range []*[]float64{&f.r, &f.rTrial, &f.work} {
		*b = sized(*b, m)
	}
	f.jac, f.tri, f.cov = sized(f.jac, m*n), sized(f.tri, n*n), sized(f.cov, n*n)
	f.damped, f.rhs = sized(f.damped, 2*n*n), sized(f.rhs, 2*n)
	f.held = append(f.held[:0], make([]bool, n)...)
	clear(f.scale)
	copy(f.p, start)
	f.clip(f.p)
}

// sized returns b with length n, of its own memory if that is enough.
func sized(b []float64, n int) []float64 {
	if cap(b) < n {
		return make([]float64, n)
	}
	return b[:n]
}

// clip moves p into the bounds.
func (f *fitter) clip(p []float64) {
	for i := range p {
		if f.prob.lower != nil {
			p[i] = max(p[i], f.prob.lower[i])
		}
		if f.prob.upper != nil {
			p[i] = min(p[i], f.prob.upper[i])
		}
	}
}

// evaluate writes the residuals at p and returns their sum of squares, +Inf if it is not finite.
func (f *fitter) evaluate(p, r []float64) float64 {
	f.prob.residuals(p, r)
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	if math.IsNaN(sum) {
		return math.Inf(1)
	}
	return sum
}

// linearise factors the Jacobian at p into f.tri, and f.qtr = Qᵀr, with the columns of held parameters left out.
func (f *fitter) linearise() {
	n, m := len(f.p), f.prob.rows
	f.prob.jacobian(f.p, f.jac)
	for j := range n {
		norm, slope := 0.0, 0.0
		for i := range m {
			norm += f.jac[i*n+j] * f.jac[i*n+j]
			slope += f.jac[i*n+j] * f.r[i]
		}
		f.scale[j] = math.Sqrt(norm)
		f.held[j] = (f.prob.lower != nil && f.p[j] <= f.prob.lower[j] && slope > 0) ||
			(f.prob.upper != nil && f.p[j] >= f.prob.upper[j] && slope < 0)
		for i := 0; f.held[j] && i < m; i++ {
			f.jac[i*n+j] = 0
		}
	}
	copy(f.work, f.r)
	triangularise(f.jac, f.work, m, n)
	copy(f.tri, f.jac[:n*n])
	copy(f.qtr, f.work[:n])
}

// along is the square of the residual's part in the tangent plane: what an undamped step would take off the sum of
// squares if the model were linear.
func (f *fitter) along() float64 {
	sum := 0.0
	for _, q := range f.qtr {
		sum += q * q
	}
	return sum
}

// improve takes one damped step that lowers the sum of squares. It is false if none does: p is then as good as the
// arithmetic allows.
func (f *fitter) improve() bool {
	for range 60 {
		f.dampedStep()
		change := 0.0
		for i := range f.p {
			f.trial[i] = f.p[i] + f.step[i]
		}
		f.clip(f.trial)
		for i := range f.p {
			f.step[i] = f.trial[i] - f.p[i]
			change = max(change, math.Abs(f.step[i])/(math.Abs(f.p[i])+1e-300))
		}
		if change <= 1e-15 {
			return false
		}
		if f.accept(f.evaluate(f.trial, f.rTrial)) {
			return true
		}
	}
	return false
}

// accept moves to the trial point if its sum of squares is lower, and adapts the damping to how well the linear model
// foretold it.
func (f *fitter) accept(rss float64) bool {
	if !(rss < f.rss) {
		f.lambda *= f.nu
		f.nu *= 2
		return false
	}
	gain := 1.0
	if foretold := f.foretold(); foretold > 0 {
		gain = (f.rss - rss) / foretold
	}
	f.lambda *= max(1.0/3, 1-math.Pow(2*gain-1, 3))
	f.lambda = max(f.lambda, 1e-14)
	f.nu = 2
	f.p, f.trial = f.trial, f.p
	f.r, f.rTrial = f.rTrial, f.r
	f.rss = rss
	return true
}

// foretold is the fall of the sum of squares that the linear model promises for f.step.
func (f *fitter) foretold() float64 {
	n, fall := len(f.p), 0.0
	for i := range n {
		q := f.qtr[i]
		moved := q
		for j := i; j < n; j++ {
			moved += f.tri[i*n+j] * f.step[j]
		}
		fall += q*q - moved*moved
	}
	return fall
}

// ending is how a fit that cannot get better has ended. Where no step helps although the tangent plane promises one, the
// residuals are too rough or too steep to be minimised: that is no minimum.
func (f *fitter) ending() fitStatus {
	const rough, exact = 1e-10, 1e-24
	if f.along() > max(rough*f.rss, exact*f.first) {
		return fitStopped
	}
	if f.flat() {
		return fitFlat
	}
	if slices.Contains(f.held, true) {
		return fitAtBound
	}
	return fitConverged
}

// flat reports whether the last step's Jacobian leaves a parameter that is not held undetermined.
func (f *fitter) flat() bool {
	n := len(f.p)
	for i := range n {
		if d := math.Abs(f.tri[i*n+i]); !f.held[i] && !(d > 1e-13*f.scale[i]) {
			return true
		}
	}
	return false
}

// lnDet is the logarithm of the determinant of RᵀR, held parameters left out.
func (f *fitter) lnDet() float64 {
	sum := 0.0
	for i := range f.p {
		if !f.held[i] {
			sum += 2 * math.Log(math.Abs(f.tri[i*len(f.p)+i]))
		}
	}
	return sum
}
