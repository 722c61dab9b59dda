package rise

import "math"

// span is how long the run has been read, h.
func (r *history) span() float64 {
	if len(r.hours) == 0 {
		return 0
	}
	return r.now - r.hours[0]
}

// recentLine fits a straight line to the last bins for the multiple and its slope now.
func (r *history) recentLine() {
	n := len(r.hours)
	from := n - 1
	for from > 0 && (r.hours[from] > r.now-recent || n-from < 3) {
		from--
	}
	l := lineThrough(n-from, func(i int) (x, y, w float64) {
		return r.hours[from+i] - r.now, r.multiple[from+i], float64(r.count[from+i])
	})
	r.level, r.slope = l.at0, l.slope
	r.levelSD = r.noise * medianSD * l.sd0
}

// findTop finds the highest smoothed multiple: the mean of three bins.
func (r *history) findTop() {
	r.top, r.topHours = r.level, r.now
	for i := range r.multiple {
		if m := r.smooth(i); m > r.top {
			r.top, r.topHours = m, r.hours[i]
		}
	}
}

// smooth is the mean of a bin and its neighbours; unknown, −Inf, at the ends.
func (r *history) smooth(i int) float64 {
	if i < 1 || i+1 >= len(r.multiple) {
		return math.Inf(-1)
	}
	return (r.multiple[i-1] + r.multiple[i] + r.multiple[i+1]) / 3
}

// findRise finds where the rise begins, after the slump, and ends, and how far the curve may miss each bin.
func (r *history) findRise() {
	const slump = 4.0 // h: the latest that a dough is taken to have slumped
	r.until = len(r.hours)
	least := math.Inf(1)
	for i := 1; i+1 < len(r.hours) && r.hours[i] <= min(r.topHours, r.hours[0]+slump); i++ {
		if m := r.smooth(i); m < least {
			least, r.from = m, i-1
		}
	}
	for r.until > r.from+1 && r.hours[r.until-1] > r.topHours {
		r.until--
	}
	for i, m := range r.multiple {
		noise := r.noise * medianSD / math.Sqrt(float64(r.count[i]))
		r.tolerance = append(r.tolerance, math.Hypot(noise, misfit+age*max(0, r.level-m)))
	}
}

// lagGuess is where to begin the search for the lag: the prior's, later where the rise set in late.
func (r *history) lagGuess(lag float64) float64 {
	const dissolving = 2.5 // thermal h from the lag to a visible rise, about
	for i := r.until - 1; i > r.from; i-- {
		if r.multiple[i]-1 < 0.15*(r.top-1) {
			return max(lag, r.thermal[i]-dissolving)
		}
	}
	return lag
}

// falling reports whether the multiple has sunk from its top by more than noise or a bump would make it, for long
// enough.
func (r *history) falling() bool {
	const share, lasting = 0.06, 0.5
	sunk := max(share*(r.top-1), 4*r.levelSD, 0.01)
	return r.top-r.level > sunk && r.now-r.topHours > lasting && r.slope < 0
}

// reached is when the multiple was first at the target, if it is there or has been: by the line through neighbouring
// bins. It is not in the past while the multiple is hardly there.
func (r *history) reached(target float64) (float64, bool) {
	if r.top < target {
		return 0, false
	}
	if r.topHours == r.now && r.top < target+2*r.levelSD {
		return r.now, true
	}
	for i := 1; i < len(r.multiple); i++ {
		lo, hi := r.multiple[i-1], r.multiple[i]
		if i > r.from && lo < target && hi >= target {
			return r.hours[i-1] + (target-lo)/(hi-lo)*(r.hours[i]-r.hours[i-1]), true
		}
	}
	return r.topHours, true
}
