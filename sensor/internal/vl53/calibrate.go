package vl53

import (
	"context"
	"math"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/internal/tof"
)

// kcpsFraction is a unit of the crosstalk register: 7.9, thousands of counts a second and receiver.
const kcpsFraction = 512

// writeCalibration writes the offset and the crosstalk that the options give.
func (d *Dev) writeCalibration() error {
	var words []Word
	if mm, ok := d.conf.OffsetMM.Get(); ok {
		words = append(words, offset(mm)...)
	}
	if x, ok := d.conf.CrosstalkKcps.Get(); ok {
		words = append(words, crosstalk(uint16(math.Round(x*kcpsFraction)))...)
	}
	return d.writeChecked("write calibration", words)
}

// offset sets the offset, mm, in quarters, and drops the factory's other two.
func offset(mm float64) []Word {
	return []Word{{regOffset, uint16(int16(math.Round(mm * 4)))}, {regInnerOffset, 0}, {regOuterOffset, 0}}
}

// crosstalk sets the crosstalk of a receiver, the same over the whole array.
func crosstalk(raw uint16) []Word {
	return []Word{{regCrosstalkX, 0}, {regCrosstalkY, 0}, {regCrosstalk, raw}}
}

// writeChecked writes registers that bend every range, and then reads all of them back.
func (d *Dev) writeChecked(op string, words []Word) error {
	for _, w := range words {
		if err := d.Write16(op, w.Reg, w.Value); err != nil {
			return err
		}
	}
	for _, w := range words {
		v, err := d.Read16(op, w.Reg)
		if err != nil {
			return err
		}
		if v != w.Value {
			return d.Errorf(op, sensor.ErrHardware, "register 0x%04x reads %04x, %04x was written", w.Reg, v, w.Value)
		}
	}
	return nil
}

// updateTemperature calibrates the chip to its temperature while it stands still.
func (d *Dev) updateTemperature(ctx context.Context) error {
	for _, w := range []Write{{regVHVTimeout, []byte{0x81}}, {regVHVInit, []byte{0x92}}} {
		if err := d.Write("calibrate", w.Reg, w.Data...); err != nil {
			return err
		}
	}
	return d.calibrateOnce(ctx)
}

// CalibrateOffset finds the offset with a flat target at a known distance, 10 to 1000 mm, over 5 to 255 ranges, sets it,
// and returns it, mm. The target should be grey (17 %), 100 mm away for a VL53L4CD (UM2931) or 140 mm for a VL53L1X
// (UM2510), in the dark. Keep the value and give it as an option: the chip forgets it.
func (d *Dev) CalibrateOffset(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate offset"
	if err := d.CheckTarget(op, trueMM, 10, 1000, n); err != nil {
		return 0, err
	}
	s, err := d.Measure(ctx, op, n, func() error { return d.writeChecked(op, offset(0)) })
	if err != nil {
		return 0, err
	}
	mm := math.Round((trueMM-s.MeanMM())*4) / 4
	d.conf.OffsetMM = rise.Known(mm)
	return mm, nil
}

// CalibrateCrosstalk finds what a window throws back, with a flat grey target at the distance, 50 to 5000 mm, from which
// the range begins to fall short, over 5 to 255 ranges, after the offset was calibrated. It sets it and returns it,
// thousands of counts a second and receiver: signal × (1 − mean/true) / receivers (UM2356, UM2931). ST's own driver
// returns a value cut to 16 bits, which is not followed. Keep the value and give it as an option.
func (d *Dev) CalibrateCrosstalk(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate crosstalk"
	if err := d.CheckTarget(op, trueMM, 50, 5000, n); err != nil {
		return 0, err
	}
	s, err := d.Measure(ctx, op, n, func() error { return d.writeChecked(op, crosstalk(0)) })
	if err != nil {
		return 0, err
	}
	raw := shortfall(s, trueMM)
	d.conf.CrosstalkKcps = rise.Known(float64(raw) / kcpsFraction)
	return float64(raw) / kcpsFraction, nil
}

// shortfall is the crosstalk register's value for a true distance, mm. A range that is not too short has none.
func shortfall(s tof.Sums, trueMM float64) uint16 {
	x := kcpsFraction * 1000 * s.Mcps * (1 - s.MeanMM()/trueMM) / s.SPADs
	return uint16(min(max(math.Round(x), 0), math.MaxUint16))
}
