package rise

import (
	"fmt"
	"math"
)

// growth is a run's rise as a logistic curve in thermal time, in the form of Zwietering et al. (1990, Appl. Environ.
// Microbiol. 56:1875): ceiling A, largest slope μ per thermal hour, lag λ where the steepest tangent meets the base.
type growth struct {
	lnA, lnMu, lag float64
	// sd is the standard deviation of each parameter by the posterior, and of the logarithm of the time still to go.
	sdA, sdRest float64
	status      fitStatus
}

func (g growth) slice() []float64 {
	if g.status != fitConverged && g.status != fitAtBound {
		return nil
	}
	return []float64{g.lnA, g.lnMu, g.lag}
}

// rise is the rise above the base at thermal time th: a multiple less 1.
func rise(lnA, lnMu, lag, th float64) float64 {
	a, mu := math.Exp(lnA), math.Exp(lnMu)
	return a / (1 + math.Exp(4*mu/a*(lag-th)+2))
}

// timeTo is the thermal time at which the rise is y; false for a level that is never reached.
func timeTo(lnA, lnMu, lag, y float64) (float64, bool) {
	a, mu := math.Exp(lnA), math.Exp(lnMu)
	if !(y > 0 && y < a) {
		return 0, false
	}
	return lag + a/(4*mu)*(2-math.Log(a/y-1)), true
}

// grow fits the curve to the history by maximum a posteriori.
func (f *Forecaster) grow(p Progress) growth {
	prior := newPrior(p)
	r := &f.run
	n := len(r.hours)
	resid := func(b, out []float64) {
		for i := range n {
			out[i] = (rise(b[0], b[1], b[2], r.thermal[i]) - (r.multiple[i] - 1)) / r.tolerance(i)
		}
		for j := range b {
			out[n+j] = (b[j] - prior.mean[j]) / prior.sd[j]
		}
	}
	prob := fitProblem{rows: n + 3, residuals: resid, lower: growthLower, upper: growthUpper, iterations: 40, tolerance: 1e-7}
	res := f.fitter.fit(prob, prior.mean[:])
	g := growth{lnA: res.params[0], lnMu: res.params[1], lag: res.params[2], status: res.status}
	g.sdA = res.se(0, 1).Or(prior.sd[0])
	g.sdRest = g.restSD(r, res, p.Target)
	return g
}

// The widest that is taken for a rise; outside it the sensor or the feeding time is suspect.
var (
	growthLower = []float64{math.Log(0.05), math.Log(0.01), -2}
	growthUpper = []float64{math.Log(6), math.Log(3), 40}
)

// tolerance is the standard deviation of bin i about the curve: the noise, and what the curve itself gets wrong, the
// more the longer ago.
func (r *history) tolerance(i int) float64 {
	noise := r.noise * 1.2533 / math.Sqrt(float64(r.count[i]))
	misfit := 0.01 + 0.05*max(0, r.level-r.multiple[i])
	return math.Hypot(noise, misfit)
}

// restSD is the standard deviation of the logarithm of the thermal time to the target, by the law of propagation.
func (g growth) restSD(r *history, res fitResult, target float64) float64 {
	rest := func(b [3]float64) float64 {
		at, ok := timeTo(b[0], b[1], b[2], target-1)
		if !ok {
			return math.NaN()
		}
		return math.Log(max(0.02, at-r.thermal[len(r.thermal)-1]))
	}
	const step = 1e-3
	b := [3]float64{g.lnA, g.lnMu, g.lag}
	var grad [3]float64
	for i := range b {
		hi, lo := b, b
		hi[i], lo[i] = hi[i]+step, lo[i]-step
		if grad[i] = (rest(hi) - rest(lo)) / (2 * step); math.IsNaN(grad[i]) {
			return 1
		}
	}
	v, ok := res.variance(grad[:]).Get()
	if !ok {
		return 1
	}
	const least = 0.15
	return min(1.2, math.Hypot(math.Sqrt(v), least))
}

// chance is the probability that the ceiling is above the target. The dough still grows when within 2 % of its ceiling
// only by a hair: the target must be below that.
func (g growth) chance(target float64) float64 {
	const least = 0.12
	needed := math.Log((target - 1) / 0.98)
	return normalCDF((g.lnA - needed) / math.Hypot(g.sdA, least))
}

// peak is the multiple at which the rise levels off, and when it is within 2 % of it.
func (g growth) peak(r *history) (multiple, hours Num) {
	a := math.Exp(g.lnA)
	at, _ := timeTo(g.lnA, g.lnMu, g.lag, 0.98*a)
	rest := (at - r.thermal[len(r.thermal)-1]) / max(r.pace, 0.02)
	if rest <= 0 {
		return Known(r.top), Known(r.topHours)
	}
	return Known(1 + a), Known(r.now + rest)
}

// forecast fills in the quantiles of the time to the target.
func (g growth) forecast(r *history, target float64, out *Prediction) {
	chance := g.chance(target)
	out.Chance = Known(chance)
	out.PeakMultiple, out.PeakHours = g.peak(r)
	at, ok := timeTo(max(g.lnA, math.Log((target-1)/0.98)), g.lnMu, g.lag, target-1)
	if rest := (at - r.thermal[len(r.thermal)-1]) / r.pace; ok {
		median := math.Log(max(rest, 0.02))
		quantile := func(p float64) Num {
			if p >= chance {
				return Num{}
			}
			return Known(r.now + math.Exp(median+g.sdRest*normalQuantile(p/chance)))
		}
		out.P10, out.P50, out.P90 = quantile(0.1), quantile(0.5), quantile(0.9)
	}
	if !out.P50.IsKnown() {
		out.Reason = fmt.Sprintf("too weak at %.0f °C: at most ×%.1f expected", r.temp, 1+math.Exp(g.lnA))
	}
}
