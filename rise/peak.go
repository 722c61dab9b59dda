package rise

import "math"

// The rise at which a dough's bubbles begin to lose what they gain: starters peak at ×2-×3 (orders of magnitude after
// Raffak et al. 2023, Appl. Sci. 13:12453), as a median with the standard deviation of its logarithm between starters and
// between the runs of one.
const (
	usualHold, holdSD, holdWithin = 1.5, 0.3, 0.12
	// flatTop is how long after it would have come by its growth alone a peak is, h: the top is flat.
	flatTop = 1.0
)

// hold is the rise that the run's walls will bear, given that they have borne a rise already: the median of what is left
// of the prior, which past peaks have moved.
func hold(p Progress, borne float64) float64 {
	mean, sd := math.Log(usualHold), holdSD
	sum, n := 0.0, 0.0
	for _, s := range p.Past {
		if m, ok := s.PeakMultiple.Get(); ok && m > 1.01 && kindOf(s.Run.Kind) == kindOf(p.Kind) {
			sum, n = sum+math.Log(m-1), n+1
		}
	}
	if n > 0 {
		usual, own := 1/(sd*sd), n/(holdWithin*holdWithin)
		mean, sd = (mean*usual+sum/(holdWithin*holdWithin))/(usual+own), math.Hypot(holdWithin, 1/math.Sqrt(usual+own))
	}
	below := normalCDF((math.Log(max(borne, 1e-3)) - mean) / sd)
	return math.Exp(mean + sd*normalQuantile(min((1+below)/2, 0.9999)))
}

// peak is the highest multiple expected of a run that still rises, and when: each branch rises until it holds itself back
// or its walls give way.
func (f *Forecaster) peak(p Progress) (multiple, hours Num) {
	const nearly = 0.95 // of a ceiling, which is never quite reached
	r := &f.run
	borne := max(0, r.top-1)
	bears := hold(p, borne)
	height, wait := 0.0, 0.0
	for i := range f.post.branch {
		b := &f.post.branch[i]
		g := growthOf(&b.param)
		y := min(bears, nearly*g.risen(g.ceiling))
		at, _ := g.timeTo(y)
		height += b.weight * max(y, borne)
		wait += b.weight * max(0, at-r.thermalNow)
	}
	return Known(1 + height), Known(r.now + r.ahead(wait) + flatTop)
}
