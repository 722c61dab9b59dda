package tof

import (
	"slices"

	"nightjar/rise"
)

// A Doubter takes the place of the estimate of noise that some chips do not give: where the good ranges of a burst spread
// too far, none of them is good. The zero value is ready; it keeps nothing but memory for reuse.
type Doubter struct{ ordered []float64 }

// Judge makes the good samples noisy if they spread further than the limit, mm.
func (d *Doubter) Judge(samples []rise.Sample, limitMM float64) {
	if d.spread(samples) <= limitMM {
		return
	}
	for i := range samples {
		if samples[i].Status == rise.StatusGood {
			samples[i].Status = rise.StatusNoisy
		}
	}
}

// spread is half the width, mm, of the middle 68 % of the good ranges, which is one standard deviation of normal noise,
// and which a few far off do not touch. Fewer than five have none.
func (d *Doubter) spread(samples []rise.Sample) float64 {
	d.ordered = d.ordered[:0]
	for _, s := range samples {
		if s.Status == rise.StatusGood {
			d.ordered = append(d.ordered, s.RangeMM)
		}
	}
	n := len(d.ordered)
	if n < 5 {
		return 0
	}
	slices.Sort(d.ordered)
	off := n * 16 / 100
	return (d.ordered[n-1-off] - d.ordered[off]) / 2
}
