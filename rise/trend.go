package rise

import "math"

// trend is where the level should be by how it moved up to half an hour ago: what a bubble that has swollen since, or a
// shift of a moment ago, has no part in.
type trend struct {
	level, doubt float64
	known        bool
}

// The stretch of a trend, hours before the moment in question: bubbles swell within trendTo. trendDoubtMM is how well a
// parabola foretells a dough that far ahead, mm.
const (
	trendFrom    = 110.0 / 60
	trendTo      = 35.0 / 60
	trendDoubtMM = 0.5
)

// trendAt is the trend at a moment.
func (h *binned) trendAt(t float64) trend {
	f, ok := foretell(h.bins, t-trendFrom, t-trendTo, t)
	if !ok {
		return trend{}
	}
	return trend{level: f.value, doubt: math.Sqrt(f.valueVar + trendDoubtMM*trendDoubtMM), known: true}
}

// shifted is the share of a drop from one level to another that was a shift, and not a bubble that burst: 1 where the
// trend agrees with the level before, 0 where it agrees with the level after.
func (d trend) shifted(before, after float64) float64 {
	return min(max((d.level-after)/(before-after), 0), 1)
}
