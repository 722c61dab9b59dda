package rise

import "math"

// base finds the level that rise is counted from: the lowest level of the settling sample.
//
// The lowest of many noisy values lies too low by the noise. Here only the place in time of the lowest is taken from
// narrow fits; its value is that of a parabola as wide as the curve allows (the rule of Lepski 1991, Theory Probab.
// Appl. 35:454: the widest that agrees with all narrower ones), in which that noise has averaged out.
type base struct {
	level, variance float64
	// at is the run time of the lowest level, h.
	at    float64
	known bool
	// closed ends the search; given tells that a person set the level, apart that it does not hang on the floor distance.
	closed, given, apart bool
}

// The base level's search, in hours: the narrowest fit, the time that must pass after the lowest level, the age at which
// a level without a slope counts as settled, and the time after the lowest level at which the search ends.
const (
	baseNarrow = 8.0 / 60
	baseAfter  = 10.0 / 60
	baseAge    = 15.0 / 60
	baseClose  = 60.0 / 60
	// baseWindow is how far back the search looks at most.
	baseWindow = 4.0
)

var baseWidths = [...]float64{baseNarrow, 12.0 / 60, 18.0 / 60, 27.0 / 60, 40.0 / 60}

// set makes a level seen by the ranger the base.
func (b *base) set(level, variance, hours float64) {
	*b = base{level: level, variance: variance, at: hours, known: true, closed: true, given: true}
}

// give makes a level the base that a person knows without the ranger.
func (b *base) give(level, variance, hours float64) {
	b.set(level, variance, hours)
	b.apart = true
}

// search looks for the lowest level among the run's bins. The last bin may still be growing.
func (b *base) search(h *binned) {
	if b.closed || len(h.bins) == 0 {
		return
	}
	now := h.bins[len(h.bins)-1].at()
	bins := h.since(now - baseWindow)
	at, narrow := lowest(bins)
	if !b.known && !settled(bins, at, now) {
		return
	}
	b.at, b.known = at, true
	b.level, b.variance = widest(bins, at, narrow)
	b.variance += bins[len(bins)-1].rounding
	b.closed = now-at > baseClose
}

// reopen resumes a closed search where a sample that has not risen yet went on slumping below its base. The state is the
// smoothed level.
func (b *base) reopen(s smoother, top float64) {
	below := b.level - s.x
	if b.closed && !b.given && top < risenFrom && below > 3*math.Sqrt(b.variance+s.pxx) {
		b.closed = false
	}
}

// lowest is the bin at which a narrow fit is lowest, with the fit there.
func lowest(bins []bin) (at float64, fit local) {
	fit.value = math.Inf(1)
	for _, b := range bins {
		f := fitOrBin(bins, b, baseNarrow)
		if f.value < fit.value {
			at, fit = b.at(), f
		}
	}
	return at, fit
}

// fitOrBin is the fit around a bin, or the bin by itself where there are too few.
func fitOrBin(bins []bin, b bin, half float64) local {
	if f, ok := fitAround(bins, b.at(), half); ok {
		return f
	}
	return local{value: b.mean(), valueVar: b.variance(), n: b.n}
}

// settled reports whether the slump is over: the lowest level lies back, or the level has no slope downwards that could
// be told from none.
func settled(bins []bin, at, now float64) bool {
	age := now - bins[0].at()
	if len(bins) < 6 {
		return age >= baseAfter && len(bins) >= 2 && now > at || age >= baseClose
	}
	if age < baseAge {
		return false
	}
	if now-at >= baseAfter {
		return true
	}
	f, ok := fitAround(bins, now, baseAge/2)
	return ok && f.slope >= -max(2*math.Sqrt(f.slopeVar), 0.01*scaleOf(f.value))
}

// widest is the value at the lowest place by the widest parabola that agrees with every narrower one. Place and width were
// chosen by the same noisy levels, so its variance is put half-way to the narrowest one's: over simulated nights the
// errors are then as large as claimed.
func widest(bins []bin, at float64, narrow local) (level, variance float64) {
	level, variance = narrow.value, narrow.valueVar
	if narrow.n < 6 {
		return level, variance
	}
	var seen [len(baseWidths)]local
	for i, half := range baseWidths {
		f, ok := fitAround(bins, at, half)
		if !ok {
			break
		}
		for _, s := range seen[:i] {
			if math.Abs(f.value-s.value) > 2*math.Sqrt(max(s.valueVar-f.valueVar, 0)) {
				return level, variance
			}
		}
		seen[i] = f
		level, variance = f.value, (f.valueVar+narrow.valueVar)/2
	}
	return level, variance
}
