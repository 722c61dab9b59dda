package rise

import (
	"fmt"
	"math"
)

// Progress is a run so far, as a forecast needs it. The slices are only read.
type Progress struct {
	// Hours since the start of the run, rising, and the Multiple then, one entry for each reading that was used. Entries
	// that are not finite, or whose time does not rise, are left out.
	Hours, Multiple []float64
	// TempC is the temperature of the sample at each reading, °C; nil or unknown entries take the last one known.
	TempC []Num
	// NoiseSD is the standard deviation of one entry of Multiple that is not common to all of them; 0 is 0.5 %.
	NoiseSD float64
	// Target is the multiple to reach.
	Target float64
	// InoculationPct is the prefermented flour as a percentage of all flour.
	InoculationPct Num
	// Past holds the summaries of the same starter's earlier runs.
	Past []Summary
	// Kind tells a dough from a starter after feeding; empty is a dough.
	Kind RunKind
}

// Prediction is when a run is expected to reach its target. Times are hours since its start.
type Prediction struct {
	// P10, P50 and P90 are quantiles of the time of reaching the target, P10 ≤ P50 ≤ P90, none of them in the past unless
	// the target was reached. One is unknown where the chance of ever getting there is too small for it.
	P10, P50, P90 Num
	// Chance is the probability of reaching the target at all.
	Chance Num
	// Reached is the probability that the multiple has reached the target by the last reading.
	Reached Num
	// Reason says in plain words why there is no median, empty if there is one.
	Reason string
	// PeakMultiple is the highest multiple expected, PeakHours when.
	PeakMultiple, PeakHours Num
	// Growth holds the growth parameters found, for Summary.Growth; nil if none were.
	Growth []float64
}

// Forecaster makes predictions. It holds the buffers of the work, so that one serves a whole run; the zero value is
// ready. It must not be used from two goroutines at once. The same Progress gives the same Prediction, whatever was
// asked before.
type Forecaster struct {
	run    history
	fitter fitter
}

// The least to go by.
const (
	leastReadings = 5
	leastHours    = 0.25
)

// Predict forecasts when the run reaches its target.
func (f *Forecaster) Predict(p Progress) Prediction {
	if !(p.Target > 1) || math.IsInf(p.Target, 1) {
		return Prediction{Chance: Known(0), Reason: fmt.Sprintf("a target of ×%.2f is not above the base level: nothing to wait for", p.Target)}
	}
	f.run.read(p)
	r := &f.run
	if r.used < leastReadings || r.span() < leastHours {
		return Prediction{Reason: "too early to tell"}
	}
	out := Prediction{Reached: Known(normalCDF((r.level - p.Target) / r.levelSD))}
	if at, ok := r.reached(p.Target); ok {
		out.P10, out.P50, out.P90, out.Chance = Known(at), Known(at), Known(at), Known(1)
		f.peak(p, &out)
		return out
	}
	if r.falling() {
		out.Chance, out.Reason = Known(0.02), fmt.Sprintf("falling from its peak of ×%.2f", r.top)
		out.PeakMultiple, out.PeakHours = Known(r.top), Known(r.topHours)
		return out
	}
	if r.pace == 0 {
		out.Chance, out.Reason = Known(0), fmt.Sprintf("no growth at %.0f °C", r.temp)
		return out
	}
	g := f.grow(p)
	out.Growth = g.slice()
	g.forecast(r, p.Target, &out)
	return out
}

// peak tells the expected peak of a run that has reached its target.
func (f *Forecaster) peak(p Progress, out *Prediction) {
	g := f.grow(p)
	out.Growth = g.slice()
	out.PeakMultiple, out.PeakHours = g.peak(&f.run)
}

// normalCDF is the standard normal distribution's probability below z.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// normalQuantile is its inverse for 0 < p < 1.
func normalQuantile(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }
