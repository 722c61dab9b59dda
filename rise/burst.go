package rise

import (
	"math"
	"slices"
)

// Burster summarises the single ranges of each tick into a Burst. It remembers the spread of the recent bursts, by which
// it tells an outlier from noise. The zero value is ready for a ranger that resolves 1 mm. A Burster serves one
// ranger; it must not be used by two goroutines at once.
//
// The registers of a ranger hold whole millimetres. A median of them, and their median absolute deviation, which is
// mostly 0, cannot resolve what their mean can: so the median only finds the outliers, and the mean is what is kept.
type Burster struct {
	// ResolutionMM is the step of the ranger's registers, mm; 0 means 1.
	ResolutionMM float64

	recent [recentBursts]scatter
	next   int
	ranges []float64 // for reuse: the ranges kept
	apart  []float64 // for reuse: their distances from the median
}

// scatter is the sum of squares about the mean of one burst and its degrees of freedom.
type scatter struct{ squares, freedom float64 }

const (
	// recentBursts is how many bursts the spread is pooled over: ten minutes at one in 30 s.
	recentBursts = 20
	// leastGateMM and gateSpreads: a range further than the greater of the two from the median is an outlier.
	leastGateMM = 3.0
	gateSpreads = 4.0
	// madToSigma turns a median absolute deviation into a standard deviation for normal noise: 1/Φ⁻¹(3/4).
	madToSigma = 1.4826022185056018
	// quorum is the least share of the ranges asked for that must agree before there is a range at all: photon statistics
	// now and then make a good one of nothing.
	quorum = 0.25
)

// Burst summarises the samples of one tick in which of ranges were asked for. Samples that are not good are counted and
// never averaged; those further than max(3 mm, 4 × SpreadMM) from the median are rejected; the mean of the rest and its
// standard deviation are rounded to 0.01 mm. If the rest is less than a quarter of those asked for, none is kept. A
// good sample whose range is no number, or is negative, counts as StatusOther. The samples are not changed or kept.
func (b *Burster) Burst(samples []Sample, of int) Burst {
	out := Burst{Of: of}
	b.ranges = b.ranges[:0]
	for _, s := range samples {
		status := s.status()
		if out.Statuses[status] < math.MaxUint16 {
			out.Statuses[status]++
		}
		if status == StatusGood {
			b.ranges = append(b.ranges, s.RangeMM)
		}
	}
	w := b.reject()
	if n := len(b.ranges); n > 0 && float64(n) >= quorum*float64(of) {
		out.Valid = n
		b.average(&out)
	}
	out.rates(samples, w)
	return out
}

// reject drops the outliers among the ranges and returns the window that the others are in. An even count of ranges in
// two groups far apart leaves none within the gate of its median: then there is no range to trust.
func (b *Burster) reject() window {
	if len(b.ranges) == 0 {
		return window{}
	}
	w := window{mid: median(b.ranges)}
	w.gate = b.gate(w.mid)
	b.ranges = slices.DeleteFunc(b.ranges, func(mm float64) bool { return !w.holds(mm) })
	return w
}

// window is where a range must be to be kept, mm.
type window struct{ mid, gate float64 }

func (w window) holds(mm float64) bool { return math.Abs(mm-w.mid) <= w.gate }

// average fills in the mean and the spread of the ranges kept, of which there is at least one, and remembers the spread.
func (b *Burster) average(out *Burst) {
	n := float64(len(b.ranges))
	sum := 0.0
	for _, mm := range b.ranges {
		sum += mm
	}
	mean := sum / n
	out.RangeMM = Known(hundredth(mean))
	if n < 2 {
		return
	}
	squares := 0.0
	for _, mm := range b.ranges {
		squares += (mm - mean) * (mm - mean)
	}
	out.SpreadMM = Known(hundredth(math.Sqrt(squares / (n - 1))))
	b.recent[b.next] = scatter{squares: squares, freedom: n - 1}
	b.next = (b.next + 1) % recentBursts
}

// SpreadMM is the standard deviation of single ranges pooled over the recent bursts, mm. It is never less than what
// rounding to the resolution alone makes of a range, resolution/√12.
func (b *Burster) SpreadMM() float64 {
	var all scatter
	for _, s := range b.recent {
		all.squares += s.squares
		all.freedom += s.freedom
	}
	floor := b.resolution() / math.Sqrt(12)
	if all.freedom == 0 {
		return floor
	}
	return max(floor, math.Sqrt(all.squares/all.freedom))
}

// gate is how far from the median a range may be. Before there is any burst to pool, the first one's own deviations
// have to do.
func (b *Burster) gate(mid float64) float64 {
	spread := b.SpreadMM()
	if b.recent == ([recentBursts]scatter{}) {
		b.apart = b.apart[:0]
		for _, mm := range b.ranges {
			b.apart = append(b.apart, math.Abs(mm-mid))
		}
		spread = max(spread, madToSigma*median(b.apart))
	}
	return max(leastGateMM, gateSpreads*spread)
}

func (b *Burster) resolution() float64 {
	if b.ResolutionMM > 0 {
		return b.ResolutionMM
	}
	return 1
}

// rates fills in the means of what else the ranger tells: over the ranges kept, those in the window, or over all
// samples if none was.
func (b *Burst) rates(samples []Sample, w window) {
	var signal, ambient, sigma mean
	for _, s := range samples {
		if b.Valid == 0 || (s.status() == StatusGood && w.holds(s.RangeMM)) {
			signal.add(s.SignalMcps)
			ambient.add(s.AmbientMcps)
			sigma.add(s.SigmaMM)
		}
	}
	b.SignalMcps, b.AmbientMcps, b.SigmaMM = signal.get(), ambient.get(), sigma.get()
}

// status is the sample's status, made safe: what cannot be a range is none.
func (s Sample) status() Status {
	if s.Status >= StatusCount {
		return StatusOther
	}
	if s.Status == StatusGood && (!Known(s.RangeMM).IsKnown() || s.RangeMM < 0) {
		return StatusOther
	}
	return s.Status
}

// mean is a running mean of the numbers that are known.
type mean struct{ sum, n float64 }

func (m *mean) add(v Num) {
	if x, ok := v.Get(); ok {
		m.sum += x
		m.n++
	}
}

func (m mean) get() Num {
	if m.n == 0 {
		return Num{}
	}
	return Known(m.sum / m.n)
}

// median sorts xs, which must not be empty, and returns its middle: the mean of the two middle ones of an even count.
func median(xs []float64) float64 {
	slices.Sort(xs)
	n := len(xs)
	return (xs[(n-1)/2] + xs[n/2]) / 2
}

// hundredth rounds to two decimals.
func hundredth(x float64) float64 { return math.Round(x*100) / 100 }
