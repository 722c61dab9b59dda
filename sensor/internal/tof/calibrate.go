package tof

import (
	"context"
	"fmt"

	"nightjar/rise"
	"nightjar/sensor"
)

// Sums adds up what a calibration needs of good results.
type Sums struct{ N, MM, Mcps, SPADs float64 }

// MeanMM is the mean of the good ranges, mm.
func (s Sums) MeanMM() float64 { return s.MM / s.N }

// Measure clears a correction, takes n ranges and sums up the good ones, of which at least half must be good. Whatever comes
// of it, the next burst sets everything up anew: with the correction from before, or with the one that the caller has made
// of the sums by then.
func (d *Dev) Measure(ctx context.Context, op string, n int, clear func() error) (Sums, error) {
	var s Sums
	defer d.fail()
	err := d.prepare(ctx)
	if err == nil {
		err = clear()
	}
	if err == nil {
		err = d.ranges(ctx, n, s.add)
	}
	if err == nil && s.N*2 < float64(n) {
		err = d.Errorf(op, sensor.ErrBadValue, "only %.0f of %d ranges were good; put a flat matt card in full view", s.N, n)
	}
	return s, err
}

func (s *Sums) add(r Result) {
	if r.Status == rise.StatusGood {
		s.N++
		s.MM += r.RangeMM
		s.Mcps += r.SignalMcps.Or(0)
		s.SPADs += r.SPADs
	}
}

// CheckTarget refuses a target or a count that a calibration cannot work with.
func (d *Dev) CheckTarget(op string, trueMM, least, most float64, n int) error {
	if !(trueMM >= least && trueMM <= most) || n < 5 || n > 255 {
		return fmt.Errorf("%s of %v: %.1f mm over %d ranges: must be %.0f to %.0f mm over 5 to 255 ranges", op, d, trueMM, n, least, most)
	}
	return nil
}
