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
	// Dough is the main dough's temperature and how far it is ahead; the zero value is not known.
	Dough DoughState
}

// DoughState is the main dough beside its sample.
type DoughState struct {
	// AheadH is how many thermal hours (hours at 25 °C) the dough has had more than the sample; negative is fewer.
	AheadH Num
	// TempC is the dough's temperature now, °C, TauH the time constant with which it comes to the sample's, h.
	TempC Num
	TauH  float64
}

// Prediction is when a run is expected to reach its target. Times are hours since its start.
type Prediction struct {
	// P10, P50 and P90 are quantiles of the time of reaching the target should it be reached, P10 ≤ P50 ≤ P90, none of
	// them in the past unless it was reached. They are unknown where Chance is below one half.
	P10, P50, P90 Num
	// Chance is the probability of reaching the target at all.
	Chance Num
	// Reached is the probability that the multiple has reached the target by the last reading.
	Reached Num
	// Reason says in plain words why there is no median, empty if there is one.
	Reason string
	// DoughP10, DoughP50 and DoughP90 are the same quantiles for the main dough by its own temperature, where that is
	// known. A dough that is there by now has the last reading's time.
	DoughP10, DoughP50, DoughP90 Num
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
	prior  prior
	post   posterior
	trial  [parameters]float64
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
	r := &f.run
	r.read(p)
	if r.used < leastReadings || r.span() < leastHours {
		return Prediction{Reason: "too early to tell"}
	}
	out := Prediction{Reached: Known(normalCDF((r.level - p.Target) / r.levelSD))}
	f.learn(p)
	out.Growth = f.post.mean()
	at, reached := r.reached(p.Target)
	falling := r.falling()
	switch {
	case reached:
		out.P10, out.P50, out.P90, out.Chance = Known(at), Known(at), Known(at), Known(1)
		since := r.thermalAt(at) - r.thermalNow
		r.dough(p.Dough, since, since, since, &out)
	case falling:
		out.Chance, out.Reason = Known(0), fmt.Sprintf("it is falling from its peak of ×%.2f", r.top)
	case r.pace == 0:
		out.Chance, out.Reason = Known(0), fmt.Sprintf("nothing rises at %.0f °C", r.temp)
	default:
		f.expect(p, &out)
	}
	switch {
	case falling:
		out.PeakMultiple, out.PeakHours = Known(r.top), Known(r.topHours)
	case r.pace > 0 && f.alive() >= 0.5:
		out.PeakMultiple, out.PeakHours = f.peak(p)
	}
	return out
}

// expect fills in the quantiles of a run that still rises, or why there are none.
func (f *Forecaster) expect(p Progress, out *Prediction) {
	r := &f.run
	reach, alive := f.post.reach(), f.alive()
	out.Chance = Known(min(1, reach*alive))
	switch {
	case reach*alive >= 0.5:
		expected, spread := f.post.left()
		ends := calibrated((r.level-1)/(p.Target-1), f.prior.past)
		t10, t50, t90 := math.Exp(expected+spread*ends.low), math.Exp(expected), math.Exp(expected+spread*ends.high)
		out.P10, out.P50, out.P90 = Known(r.now+r.ahead(t10)), Known(r.now+r.ahead(t50)), Known(r.now+r.ahead(t90))
		r.dough(p.Dough, t10, t50, t90, out)
	case alive < 0.5:
		out.Reason = fmt.Sprintf("no rise in %.0f h: the starter may be too weak, or the dough too cold", r.now)
	case f.post.below(0.9) < p.Target-0.05:
		out.Reason = fmt.Sprintf("the starter is too weak at this temperature: at most ×%.1f expected", f.post.below(0.9))
	default:
		out.Reason = "it slows down early and is likelier than not to stop short of the target"
	}
}

// alive is the probability that a sample that has not risen yet will rise: some never do, and the longer nothing is seen
// the likelier this is one.
func (f *Forecaster) alive() float64 {
	const (
		dead  = 0.03 // of all runs; common practice, no source
		risen = 0.04
	)
	r, q := &f.run, &f.prior
	if r.top-1 > max(risen, 4*r.levelSD) {
		return 1
	}
	usual := growthOf(&q.mean)
	sets, ok := usual.timeTo(risen)
	if !ok {
		return 1
	}
	late := (r.thermalNow - sets) / math.Hypot(q.sd[atLag], q.sd[atSeed]/usual.pace)
	waits := (1 - dead) * normalCDF(-late)
	return waits / (waits + dead)
}

// normalCDF is the standard normal distribution's probability below z.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// normalQuantile is its inverse for 0 < p < 1.
func normalQuantile(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }
