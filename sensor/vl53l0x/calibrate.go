package vl53l0x

import (
	"context"
	"math"

	"nightjar/rise"
)

// CalibrateOffset finds the offset with a flat white target at a known distance, 50 to 300 mm (100 mm by the data sheet),
// in the dark, over 5 to 255 ranges (ST: 50), sets it, and returns it, mm. Keep the value and give it as an option: the
// chip forgets it.
func (d *Dev) CalibrateOffset(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate offset"
	if err := d.CheckTarget(op, trueMM, 50, 300, n); err != nil {
		return 0, err
	}
	s, err := d.Measure(ctx, op, n, func() error { return d.put16(regOffset, 0) })
	if err != nil {
		return 0, err
	}
	mm := math.Round((trueMM-s.MeanMM())*4) / 4
	d.opts.OffsetMM = rise.Known(mm)
	return mm, nil
}

// CalibrateCrosstalk finds what a window throws back, with a flat target at the distance, 50 to 1200 mm, from which the
// range begins to fall short, over 5 to 255 ranges (ST: 50), after the offset was calibrated. It sets it and returns it,
// thousands of counts a second and receiver: signal / receivers × (1 − mean/true). Keep the value and give it as an option.
func (d *Dev) CalibrateCrosstalk(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate crosstalk"
	if err := d.CheckTarget(op, trueMM, 50, 1200, n); err != nil {
		return 0, err
	}
	s, err := d.Measure(ctx, op, n, func() error { return d.put16(regCrosstalk, 0) })
	if err != nil {
		return 0, err
	}
	kcps := max(0, 1000*s.Mcps/s.SPADs*(1-s.MeanMM()/trueMM))
	d.opts.CrosstalkKcps = rise.Known(math.Round(kcps*8.192) / 8.192)
	return d.opts.CrosstalkKcps.Or(0), nil
}
