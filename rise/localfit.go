package rise

import (
	"math"
	"sort"
)

// local is a polynomial fitted to the bins around a time.
type local struct {
	value, slope float64
	// valueVar and slopeVar are their variances, misfit included where the bins scatter by more than they promise.
	valueVar, slopeVar float64
	n                  int
}

// fitAround fits a parabola to the bins within half of t, weighted by precision and by the tricube of the distance
// (Cleveland 1979, J. Am. Stat. Assoc. 74:829). At the ends of the bins the window is moved inwards. It is false with
// fewer than six bins.
func fitAround(bins []bin, t, half float64) (local, bool) {
	if len(bins) == 0 {
		return local{}, false
	}
	first, last := bins[0].at(), bins[len(bins)-1].at()
	low := max(first, min(t-half, last-2*half))
	high := min(last, low+2*half)
	reach := max(t-low, high-t) * 1.05
	var f normal3
	for i := sort.Search(len(bins), func(i int) bool { return bins[i].at() >= low }); i < len(bins); i++ {
		at := bins[i].at()
		if at > high {
			break
		}
		u := (at - t) / reach
		k := 1 - math.Abs(u*u*u)
		f.add(u, bins[i].mean(), bins[i].weight*k*k*k, bins[i].weight)
	}
	return f.solve(reach)
}

// foretell carries a parabola through the bins of a stretch on to a later time. It is false with fewer than fifteen bins.
func foretell(bins []bin, from, to, t float64) (local, bool) {
	var f normal3
	reach := t - from
	for i := sort.Search(len(bins), func(i int) bool { return bins[i].at() >= from }); i < len(bins) && bins[i].at() <= to; i++ {
		f.add((bins[i].at()-t)/reach, bins[i].mean(), bins[i].weight, bins[i].weight)
	}
	if f.n < 15 {
		return local{}, false
	}
	return f.solve(reach)
}

// normal3 gathers the normal equations of a parabola in u.
type normal3 struct {
	n int
	// s are Σw·uⁱ, v Σw²/precision·uⁱ (the variance of the right-hand side), r Σw·y·uⁱ.
	s, v [5]float64
	r    [3]float64
}

func (f *normal3) add(u, y, w, precision float64) {
	f.n++
	p := 1.0
	for i := range 5 {
		f.s[i] += w * p
		f.v[i] += w * w / precision * p
		if i < 3 {
			f.r[i] += w * y * p
		}
		p *= u
	}
}

// solve gives the value and slope at u = 0, the slope per unit of time.
func (f *normal3) solve(reach float64) (local, bool) {
	if f.n < 6 || reach <= 0 {
		return local{}, false
	}
	s := f.s
	// The cofactors of the symmetric matrix of the normal equations.
	c00, c01, c02 := s[2]*s[4]-s[3]*s[3], s[2]*s[3]-s[1]*s[4], s[1]*s[3]-s[2]*s[2]
	c11, c12 := s[0]*s[4]-s[2]*s[2], s[1]*s[2]-s[0]*s[3]
	det := s[0]*c00 + s[1]*c01 + s[2]*c02
	if !(det > 1e-9*s[0]*s[2]*s[4]) {
		return local{}, false
	}
	value := [3]float64{c00 / det, c01 / det, c02 / det}
	slope := [3]float64{c01 / det, c11 / det, c12 / det}
	out := local{n: f.n, value: dot3(value, f.r), slope: dot3(slope, f.r) / reach}
	out.valueVar = f.quadratic(value)
	out.slopeVar = f.quadratic(slope) / (reach * reach)
	return out, true
}

// quadratic is the variance of the sum of a times the right-hand sides.
func (f *normal3) quadratic(a [3]float64) float64 {
	sum := 0.0
	for i := range 3 {
		for j := range 3 {
			sum += a[i] * a[j] * f.v[i+j]
		}
	}
	return sum
}

func dot3(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// lineOver fits a straight line to bins: its slope with its variance and its value at the end. It is false with fewer
// than three.
func lineOver(bins []bin) (slope, variance float64, ok bool) {
	if len(bins) < 3 {
		return 0, 0, false
	}
	var w, t float64
	for _, b := range bins {
		w += b.weight
		t += b.hours
	}
	mean := t / w
	var tt, ty float64
	for _, b := range bins {
		d := b.at() - mean
		tt += b.weight * d * d
		ty += d * b.level
	}
	if tt <= 0 {
		return 0, 0, false
	}
	return ty / tt, 1 / tt, true
}
