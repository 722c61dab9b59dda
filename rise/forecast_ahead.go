package rise

import (
	"math"
	"slices"
)

// driftHours is the stretch over which the temperature's drift is measured, and settleHours the time constant with which
// it dies away: a kitchen that cools or warms comes to rest (a sample follows its room with about 1 h; common practice).
const driftHours, settleHours = 1.0, 2.0

// findDrift measures how fast the temperature changes now.
func (r *history) findDrift() {
	from := len(r.hours)
	for from > 0 && r.hours[from-1] > r.now-driftHours {
		from--
	}
	if n := len(r.hours) - from; n >= 3 {
		r.drift = lineThrough(n, func(i int) (x, y, w float64) { return r.hours[from+i] - r.now, r.temps[from+i], 1 }).slope
	}
}

// ahead is the time from now in which so many thermal hours pass for the sample, h, should the temperature come to rest.
// It is no more than a week.
func (r *history) ahead(thermal float64) float64 {
	return hoursFor(thermal, r.coming)
}

// coming is the sample's temperature in h hours, °C.
func (r *history) coming(h float64) float64 {
	return r.temp + r.drift*settleHours*-math.Expm1(-h/settleHours)
}

// hoursFor is the time in which so many thermal hours pass at a temperature, h, and no more than a week.
func hoursFor(thermal float64, tempC func(h float64) float64) float64 {
	const step, most = 0.1, 168.0
	yeast := SourdoughYeast()
	reference := yeast.Rate(referenceC)
	before := yeast.Rate(tempC(0)) / reference
	for h := step; h < most; h += step {
		next := yeast.Rate(tempC(h)) / reference
		passed := (before + next) / 2 * step
		if passed >= thermal {
			return h - step + step*max(0, thermal)/passed
		}
		thermal -= passed
		before = next
	}
	return most
}

// thermalAt is the thermal time at a moment of the run, h.
func (r *history) thermalAt(hours float64) float64 {
	i, _ := slices.BinarySearch(r.hours, hours)
	switch {
	case i == 0:
		return r.thermal[0]
	case i == len(r.hours):
		return r.thermalNow
	}
	share := (hours - r.hours[i-1]) / (r.hours[i] - r.hours[i-1])
	return r.thermal[i-1] + share*(r.thermal[i]-r.thermal[i-1])
}

// dough fills in when the main dough is where the sample is in so many thermal hours; less than none is where it was.
func (r *history) dough(d DoughState, t10, t50, t90 float64, out *Prediction) {
	ahead, known := d.AheadH.Get()
	c, warm := d.TempC.Get()
	if !known || !warm {
		return
	}
	tau := max(d.TauH, 0.1)
	if !(tau < 100) {
		tau = doughHours
	}
	coming := func(h float64) float64 { return r.coming(h) + (c-r.temp)*math.Exp(-h/tau) }
	when := func(thermal float64) Num {
		if thermal <= ahead {
			return Known(r.now)
		}
		return Known(r.now + hoursFor(thermal-ahead, coming))
	}
	out.DoughP10, out.DoughP50, out.DoughP90 = when(t10), when(t50), when(t90)
}

// straight is a straight line by least squares.
type straight struct {
	// at0 is its value at x = 0, slope its slope, sd0 the standard error of at0 for a standard deviation of 1 at weight 1.
	at0, slope, sd0 float64
}

// lineThrough fits a straight line to n > 0 points of given weight; through points at one x it is level.
func lineThrough(n int, point func(i int) (x, y, w float64)) straight {
	var sw, sx, sy, sxx, sxy float64
	for i := range n {
		x, y, w := point(i)
		sw, sx, sy, sxx, sxy = sw+w, sx+w*x, sy+w*y, sxx+w*x*x, sxy+w*x*y
	}
	det := sw*sxx - sx*sx
	if !(det > 1e-12*sw*sw) {
		return straight{at0: sy / sw, sd0: 1 / math.Sqrt(sw)}
	}
	slope := (sw*sxy - sx*sy) / det
	return straight{at0: (sy - slope*sx) / sw, slope: slope, sd0: math.Sqrt(sxx / det)}
}
