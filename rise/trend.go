package rise

import "math"

// trend is where the level should be by how it moved up to forty minutes ago: what a bubble that has swollen since, or a
// shift of a moment ago, has no part in.
type trend struct {
	level, doubt float64
	known        bool
}

// The stretch of a trend, hours before the moment in question: bubbles swell within trendTo. trendDoubt is how well a
// parabola foretells a dough that far ahead, as a share of its level: over simulated nights.
const (
	trendFrom  = 115.0 / 60
	trendTo    = 40.0 / 60
	trendDoubt = 0.025
)

// trendAt is the trend at a moment.
func (h *binned) trendAt(t float64) trend {
	f, ok := foretell(h.bins, t-trendFrom, t-trendTo, t)
	if !ok {
		return trend{}
	}
	model := trendDoubt * scaleOf(f.value)
	return trend{level: f.value, doubt: math.Sqrt(f.valueVar + model*model), known: true}
}

// shifted is the probability that a drop from one level to another was a shift, and not a bubble that burst, where both are
// as likely beforehand: high where the trend agrees with the level before, low where with the level after.
func (d trend) shifted(before, after float64) float64 {
	a, b := (d.level-before)/d.doubt, (d.level-after)/d.doubt
	return 1 / (1 + math.Exp((a*a-b*b)/2))
}

// upTo is where a straight line through the stretch of a trend leads to at a moment; false where there is too little of it.
func (h *binned) upTo(t float64) (level float64, ok bool) {
	bins := h.since(t - trendFrom)
	n := len(bins)
	for n > 0 && bins[n-1].at() > t-trendTo {
		n--
	}
	slope, _, ok := lineOver(bins[:n])
	if !ok {
		return 0, false
	}
	mid := bins[n/2]
	return mid.mean() + slope*(t-mid.at()), true
}
