package rise

import (
	"math"
	"slices"
)

// history is a run so far, thinned to bins of a few minutes: what a forecast works on.
type history struct {
	// hours, multiple and thermal are one entry a bin: the mean time, the median multiple, and the time that growth at
	// 25 °C would have taken for what the sample's temperature allowed until then, h.
	hours, multiple, thermal []float64
	count                    []int
	used                     int
	noise                    float64 // of one reading
	temp                     float64 // °C now, 25 if never known
	pace                     float64 // thermal hours per hour now
	now                      float64 // hours of the last reading
	// level, levelSD and slope are the multiple now, its standard error, and its growth per hour.
	level, levelSD, slope float64
	top, topHours         float64
	scratch               []float64
}

const (
	referenceC   = 25.0 // °C: thermal hours are hours at this temperature
	mostBins     = 72
	leastBin     = 5.0 / 60 // h
	defaultNoise = 0.005
	recent       = 0.4 // h: the stretch that tells the multiple and its slope now
)

// read cleans and thins the run.
func (r *history) read(p Progress) {
	*r = history{hours: r.hours[:0], multiple: r.multiple[:0], thermal: r.thermal[:0], count: r.count[:0], scratch: r.scratch[:0], noise: p.NoiseSD, temp: referenceC}
	if !(r.noise > 0) || math.IsInf(r.noise, 0) {
		r.noise = defaultNoise
	}
	first, last := bounds(p)
	width := max(leastBin, (last-first)/mostBins)
	yeast := SourdoughYeast()
	reference := yeast.Rate(referenceC)
	r.temp = firstTemp(p)
	r.pace = yeast.Rate(r.temp) / reference
	begin, at, thermal, sumH, sumTh := first, first, 0.0, 0.0, 0.0
	close := func() {
		if n := len(r.scratch); n > 0 {
			slices.Sort(r.scratch)
			mid := (r.scratch[(n-1)/2] + r.scratch[n/2]) / 2
			r.hours, r.multiple = append(r.hours, sumH/float64(n)), append(r.multiple, mid)
			r.thermal, r.count = append(r.thermal, sumTh/float64(n)), append(r.count, n)
			r.scratch, sumH, sumTh = r.scratch[:0], 0, 0
		}
	}
	for i := range p.Hours {
		h, m := p.entry(i)
		if !(h >= at) || math.IsNaN(m) {
			continue
		}
		if h >= begin+width {
			close()
			begin += width * math.Floor((h-begin)/width)
		}
		// A step from one temperature to the next is spread over the time between them.
		before := r.pace
		if c, ok := p.temp(i); ok {
			r.temp, r.pace = c, yeast.Rate(c)/reference
		}
		thermal += (h - at) * (before + r.pace) / 2
		at = h
		r.used++
		r.scratch = append(r.scratch, m)
		sumH, sumTh = sumH+h, sumTh+thermal
	}
	close()
	r.now = at
	if len(r.hours) > 0 {
		r.recentLine()
		r.findTop()
	}
}

// entry is reading i, NaN where it is not usable.
func (p Progress) entry(i int) (h, m float64) {
	if i >= len(p.Multiple) || !(p.Multiple[i] > 0) || math.IsInf(p.Multiple[i], 0) || !(p.Hours[i] >= 0) || math.IsInf(p.Hours[i], 0) {
		return math.NaN(), math.NaN()
	}
	return p.Hours[i], p.Multiple[i]
}

func (p Progress) temp(i int) (float64, bool) {
	if i >= len(p.TempC) {
		return 0, false
	}
	return p.TempC[i].Get()
}

// firstTemp is the first temperature known, the reference if none is.
func firstTemp(p Progress) float64 {
	for _, c := range p.TempC {
		if v, ok := c.Get(); ok {
			return v
		}
	}
	return referenceC
}

// bounds are the first and the greatest usable time.
func bounds(p Progress) (first, last float64) {
	first = math.Inf(1)
	for i := range p.Hours {
		if h, _ := p.entry(i); h >= 0 {
			first, last = min(first, h), max(last, h)
		}
	}
	return min(first, last), last
}

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
	var sw, sh, sm, shh, shm float64
	for i := from; i < n; i++ {
		w, h := float64(r.count[i]), r.hours[i]-r.now
		sw, sh, sm, shh, shm = sw+w, sh+w*h, sm+w*r.multiple[i], shh+w*h*h, shm+w*h*r.multiple[i]
	}
	det := sw*shh - sh*sh
	r.level, r.levelSD = sm/sw, r.noise*1.2533/math.Sqrt(sw)
	if det > 1e-12*sw*sw {
		r.slope = (sw*shm - sh*sm) / det
		r.level = (sm - r.slope*sh) / sw
		r.levelSD = r.noise * 1.2533 * math.Sqrt(shh/det)
	}
}

// findTop finds the highest smoothed multiple: the mean of three bins.
func (r *history) findTop() {
	r.top, r.topHours = r.level, r.now
	for i := 1; i+1 < len(r.multiple); i++ {
		if m := (r.multiple[i-1] + r.multiple[i] + r.multiple[i+1]) / 3; m > r.top {
			r.top, r.topHours = m, r.hours[i]
		}
	}
}

// falling reports whether the multiple has sunk from its top by more than noise or a bump would make it, for long
// enough.
func (r *history) falling() bool {
	const share, lasting = 0.06, 0.5
	sunk := max(share*(r.top-1), 4*r.levelSD, 0.01)
	return r.top-r.level > sunk && r.now-r.topHours > lasting && r.slope < 0
}

// reached is when the multiple first was at the target, if it is there or has been: by the line through neighbouring
// bins, the last of them smoothed.
func (r *history) reached(target float64) (float64, bool) {
	if r.top < target {
		return 0, false
	}
	for i := 1; i < len(r.multiple); i++ {
		lo, hi := r.multiple[i-1], r.multiple[i]
		if lo < target && hi >= target {
			return r.hours[i-1] + (target-lo)/(hi-lo)*(r.hours[i]-r.hours[i-1]), true
		}
	}
	if len(r.multiple) > 0 && r.multiple[0] >= target {
		return r.hours[0], true
	}
	return r.now, true
}
