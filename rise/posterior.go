package rise

import "math"

// ceilings is how many ceilings are tried. The ceiling is what a rise says least of until it slows down: so the posterior
// is a row of them, each with the other parameters at their best and weighed by its evidence, instead of one best point.
const ceilings = 9

// mostCeiling is the highest tried, in volumes of the settled dough: no flour has the sugar for more.
const mostCeiling = 20.0

// posterior is what the readings and the prior say of a run's growth.
type posterior struct {
	branch [ceilings]branch
	// best is the branch of most weight.
	best int
}

// branch is the growth with one ceiling.
type branch struct {
	param  [parameters]float64
	weight float64
	// rest is the logarithm of the thermal time still to go to the target, with its standard deviation; reaches is false
	// for a ceiling below the target.
	rest, sd float64
	reaches  bool
}

// The parameters' bounds are far out: they only keep the arithmetic finite.
var (
	fitLower = []float64{-6, -3.5, -10, -5, -7}
	fitUpper = []float64{3, 1.5, 80, 1.5, 0.5}
)

// learn finds the posterior of the growth from the run so far.
func (f *Forecaster) learn(p Progress) {
	q, r := newPrior(p), &f.run
	f.trial = q.mean
	prob := fitProblem{
		rows: r.until - r.from + fitted, residuals: f.residuals, jacobian: f.jacobian,
		lower: fitLower, upper: fitUpper, iterations: 12, tolerance: 1e-3,
	}
	f.prior = q
	start := q.mean
	start[atLag] = r.lagGuess(q.mean[atLag])
	var evidence [ceilings]float64
	lo, hi := math.Log(max(0.3, r.top-1+0.2)), math.Log(mostCeiling)
	for j := range ceilings {
		b := &f.post.branch[j]
		f.trial[atCeiling] = lo + max(0, hi-lo)*float64(j)/(ceilings-1)
		res := f.fitter.fit(prob, start[:fitted])
		copy(start[:], res.params)
		copy(b.param[:], res.params)
		b.param[atCeiling] = f.trial[atCeiling]
		z := (b.param[atCeiling] - q.mean[atCeiling]) / q.sd[atCeiling]
		evidence[j] = -(res.rss + res.lnDet + z*z) / 2
		b.aim(res, p.Target, r.thermalNow)
	}
	f.post.weigh(evidence)
}

// weigh turns the logarithms of the evidence into weights.
func (q *posterior) weigh(evidence [ceilings]float64) {
	q.best = 0
	for j, e := range evidence {
		if e > evidence[q.best] {
			q.best = j
		}
	}
	sum := 0.0
	for j := range q.branch {
		q.branch[j].weight = math.Exp(evidence[j] - evidence[q.best])
		sum += q.branch[j].weight
	}
	for j := range q.branch {
		q.branch[j].weight /= sum
	}
}

// residuals writes the residuals of the run's bins and of the prior, in units of their standard deviations.
func (f *Forecaster) residuals(b, out []float64) {
	r := &f.run
	copy(f.trial[:fitted], b)
	g := growthOf(&f.trial)
	n := r.until - r.from
	for i := range n {
		j := r.from + i
		out[i] = (1 + g.risen(g.gas(r.thermal[j])) - r.multiple[j]) / r.tolerance[j]
	}
	for k := range b {
		out[n+k] = (b[k] - f.prior.mean[k]) / f.prior.sd[k]
	}
}

// jacobian writes the derivatives of residuals.
func (f *Forecaster) jacobian(b, jac []float64) {
	r := &f.run
	copy(f.trial[:fitted], b)
	g := growthOf(&f.trial)
	n := r.until - r.from
	for i := range n {
		j := r.from + i
		row := jac[i*fitted : (i+1)*fitted]
		g.slopes(r.thermal[j], row)
		for k := range row {
			row[k] /= r.tolerance[j]
		}
	}
	clear(jac[n*fitted:])
	for k := range fitted {
		jac[(n+k)*fitted+k] = 1 / f.prior.sd[k]
	}
}

// leastRest is the shortest time to go that is told apart from none, thermal h.
const leastRest = 0.02

// aim finds the branch's time to the target and its standard deviation by the law of propagation.
func (b *branch) aim(res fitResult, target, now float64) {
	rest := func(param [parameters]float64) (float64, bool) {
		at, ok := growthOf(&param).timeTo(target - 1)
		return math.Log(max(leastRest, at-now)), ok
	}
	if b.rest, b.reaches = rest(b.param); !b.reaches {
		return
	}
	const step = 1e-4
	var grad [fitted]float64
	for i := range grad {
		hi, lo := b.param, b.param
		hi[i], lo[i] = hi[i]+step, lo[i]-step
		u, _ := rest(hi)
		v, _ := rest(lo)
		grad[i] = (u - v) / (2 * step)
	}
	b.sd = min(1.5, math.Sqrt(res.variance(grad[:]).Or(1)))
}

// reach is the probability that the ceiling is above the target.
func (q *posterior) reach() float64 {
	sum := 0.0
	for _, b := range q.branch {
		if b.reaches {
			sum += b.weight
		}
	}
	return sum
}

// left is the median of the logarithm of the thermal time to the target, for a run that reaches it, and its spread: half
// the way from the 10 to the 90 % quantile, as a standard deviation.
func (q *posterior) left() (expected, spread float64) {
	const least = 0.03
	return q.rest(0.5), max(least, (q.rest(0.9)-q.rest(0.1))/(2*normalQuantile(0.9)))
}

// rest is the quantile p of the logarithm of the thermal time to the target, for a run that reaches it.
func (q *posterior) rest(p float64) float64 {
	const least = 0.08 // the sd of a branch that thinks itself sure
	want := p * q.reach()
	lo, hi := -8.0, 8.0
	for range 40 {
		mid, sum := (lo+hi)/2, 0.0
		for _, b := range q.branch {
			if b.reaches {
				sum += b.weight * normalCDF((mid-b.rest)/math.Hypot(b.sd, least))
			}
		}
		if sum < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// mean is the posterior mean of the parameters.
func (q *posterior) mean() []float64 {
	out := make([]float64, parameters)
	for _, b := range q.branch {
		for k, v := range b.param {
			out[k] += b.weight * v
		}
	}
	return out
}

// below is the multiple that the run stays below with a probability.
func (q *posterior) below(probability float64) float64 {
	sum, last := 0.0, 0.0
	for i := range q.branch {
		g := growthOf(&q.branch[i].param)
		last = 1 + g.risen(g.ceiling)
		if sum += q.branch[i].weight; sum >= probability {
			break
		}
	}
	return last
}
