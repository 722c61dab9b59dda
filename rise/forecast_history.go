package rise

import (
	"math"
	"slices"
)

// history is a run so far, thinned to bins of a few minutes: what a forecast works on.
type history struct {
	// One entry a bin: the mean time, the median multiple with what a curve may miss it by (one standard deviation), the
	// thermal time and the temperature, °C. Thermal time is the time that growth at 25 °C would have taken for what the
	// sample's temperature allowed, h.
	hours, multiple, tolerance, thermal, temps []float64

	// count is the readings in each bin, used those in all of them.
	count []int
	used  int
	noise float64 // of one reading
	// now is the time of the last reading, thermalNow its thermal time, temp the temperature then, 25 °C if never known.
	now, thermalNow, temp float64
	// pace is thermal hours per hour now, drift the change of temperature, °C per hour.
	pace, drift float64
	// level, levelSD and slope are the multiple now, its standard error, and its growth per hour.
	level, levelSD, slope float64
	// top is the highest smoothed multiple, topHours when.
	top, topHours float64
	// The bins from … until are the rise: from the lowest multiple to the highest.
	from, until int
	bin         binning
}

const (
	referenceC   = 25.0 // °C: thermal hours are hours at this temperature
	mostBins     = 48
	leastBin     = 5.0 / 60 // h
	defaultNoise = 0.005
	medianSD     = 1.2533 // of a median, over that of a mean: √(π/2)
	recent       = 0.4    // h: the stretch that tells the multiple and its slope now
	// The rise is never quite the curve: by misfit now, and by age more for each unit of rise since.
	misfit, age = 0.004, 0.07
)

// binning collects the readings of one bin.
type binning struct {
	multiples       []float64
	hours, thermals float64
}

// read cleans and thins the run.
func (r *history) read(p Progress) {
	*r = history{
		hours: r.hours[:0], multiple: r.multiple[:0], tolerance: r.tolerance[:0], thermal: r.thermal[:0], temps: r.temps[:0],
		count: r.count[:0], bin: binning{multiples: r.bin.multiples[:0]}, noise: p.NoiseSD,
	}
	if !(r.noise > 0) || math.IsInf(r.noise, 0) {
		r.noise = defaultNoise
	}
	r.fill(p)
	if len(r.hours) == 0 {
		return
	}
	r.recentLine()
	r.findTop()
	r.findRise()
	r.findDrift()
}

// fill puts the readings into bins and runs the thermal clock, from the start of the run with the first temperature.
func (r *history) fill(p Progress) {
	first, last := bounds(p)
	width := max(leastBin, (last-first)/mostBins)
	yeast := SourdoughYeast()
	reference := yeast.Rate(referenceC)
	r.temp = firstTemp(p)
	r.pace = yeast.Rate(r.temp) / reference
	edge := first + width
	r.now, r.thermalNow = first, first*r.pace
	for i := range p.Hours {
		h, m := p.entry(i)
		if !(h >= r.now) {
			continue
		}
		if h >= edge {
			r.closeBin()
			edge += width * (1 + math.Floor((h-edge)/width))
		}
		before := r.pace
		if c, ok := p.temp(i); ok {
			r.temp, r.pace = c, yeast.Rate(c)/reference
		}
		r.thermalNow += (h - r.now) * (before + r.pace) / 2
		r.now = h
		r.used++
		r.bin.multiples = append(r.bin.multiples, m)
		r.bin.hours, r.bin.thermals = r.bin.hours+h, r.bin.thermals+r.thermalNow
	}
	r.closeBin()
}

// closeBin appends the bin collected so far and begins another.
func (r *history) closeBin() {
	b := &r.bin
	n := len(b.multiples)
	if n == 0 {
		return
	}
	slices.Sort(b.multiples)
	r.hours, r.thermal = append(r.hours, b.hours/float64(n)), append(r.thermal, b.thermals/float64(n))
	r.multiple = append(r.multiple, (b.multiples[(n-1)/2]+b.multiples[n/2])/2)
	r.temps, r.count = append(r.temps, r.temp), append(r.count, n)
	*b = binning{multiples: b.multiples[:0]}
}

// entry is reading i, NaN where it is not usable.
func (p Progress) entry(i int) (h, m float64) {
	const most = 1000 // times the base, and hours: beyond them it is no reading
	if i >= len(p.Multiple) || !(p.Multiple[i] > 0 && p.Multiple[i] < most) || !(p.Hours[i] >= 0 && p.Hours[i] < most) {
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
