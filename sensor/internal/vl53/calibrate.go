package vl53

import (
	"context"
	"fmt"
	"math"

	"nightjar/rise"
	"nightjar/sensor"

	"periph.io/x/conn/v3/physic"
)

// maxDrift is how far the temperature may move before the chip has to calibrate itself anew.
const maxDrift = 8 * physic.Kelvin

// kcpsFraction is a unit of the crosstalk register: 7.9, thousands of counts a second and receiver.
const kcpsFraction = 512

// writeCalibration writes the offset and the crosstalk that the options give.
func (d *Dev) writeCalibration() error {
	if mm, ok := d.conf.OffsetMM.Get(); ok {
		if err := d.writeOffset(mm); err != nil {
			return err
		}
	}
	if x, ok := d.conf.CrosstalkKcps.Get(); ok {
		return d.writeCrosstalk(uint16(math.Round(x * kcpsFraction)))
	}
	return nil
}

// writeOffset sets the offset, mm, in quarters, and drops the factory's other two.
func (d *Dev) writeOffset(mm float64) error {
	for _, w := range []Word{{regOffset, uint16(int16(math.Round(mm * 4)))}, {regInnerOffset, 0}, {regOuterOffset, 0}} {
		if err := d.Write16("write offset", w.Reg, w.Value); err != nil {
			return err
		}
	}
	return nil
}

// writeCrosstalk sets the crosstalk of a receiver, the same over the whole array.
func (d *Dev) writeCrosstalk(raw uint16) error {
	for _, w := range []Word{{regCrosstalkX, 0}, {regCrosstalkY, 0}, {regCrosstalk, raw}} {
		if err := d.Write16("write crosstalk", w.Reg, w.Value); err != nil {
			return err
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
	if err := d.calibrateOnce(ctx); err != nil {
		return err
	}
	d.heat.then, d.heat.marked = d.heat.now, true
	return nil
}

// sums adds up what a calibration needs of good results.
type sums struct{ n, mm, kcps, spads float64 }

// measure clears a correction, takes n ranges and sums up the good ones, of which at least half must be good. After an
// error the next burst sets everything up anew, so that the correction from before stands again.
func (d *Dev) measure(ctx context.Context, op string, n int, clear func() error) (sums, error) {
	var s sums
	err := d.prepare(ctx)
	if err == nil {
		err = clear()
	}
	if err == nil {
		err = d.ranges(ctx, n, s.add)
	}
	if err == nil && s.n*2 < float64(n) {
		err = d.Errorf(op, sensor.ErrBadValue, "only %.0f of %d ranges were good; put a flat matt card in full view", s.n, n)
	}
	if err != nil {
		d.fail()
	}
	return s, err
}

func (s *sums) add(r Result) error {
	if r.Sample().Status == rise.StatusGood {
		s.n++
		s.mm += float64(r.RangeMM)
		s.kcps += r.SignalMcps * 1000
		s.spads += r.SPADs
	}
	return nil
}

// checkTarget refuses a target or a count that a calibration cannot work with.
func (d *Dev) checkTarget(op string, trueMM, least, most float64, n int) error {
	if !(trueMM >= least && trueMM <= most) || n < 5 || n > 255 {
		return fmt.Errorf("%s of %v: %.1f mm over %d ranges: must be %.0f to %.0f mm over 5 to 255 ranges", op, d, trueMM, n, least, most)
	}
	return nil
}

// CalibrateOffset finds the offset with a flat target at a known distance, 10 to 1000 mm, over 5 to 255 ranges, sets it,
// and returns it, mm. The target should be grey (17 %), 100 mm away for a VL53L4CD (UM2931) or 140 mm for a VL53L1X
// (UM2510), in the dark. Keep the value and give it as an option: the chip forgets it.
func (d *Dev) CalibrateOffset(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate offset"
	if err := d.checkTarget(op, trueMM, 10, 1000, n); err != nil {
		return 0, err
	}
	s, err := d.measure(ctx, op, n, func() error { return d.writeOffset(0) })
	if err != nil {
		return 0, err
	}
	mm := math.Round((trueMM-s.mm/s.n)*4) / 4
	d.conf.OffsetMM = rise.Known(mm)
	return mm, d.writeOffset(mm)
}

// CalibrateCrosstalk finds what a window throws back, with a flat grey target at the distance, 50 to 5000 mm, from which
// the range begins to fall short, over 5 to 255 ranges, after the offset was calibrated. It sets it and returns it,
// thousands of counts a second and receiver: signal × (1 − mean/true) / receivers (UM2356, UM2931). ST's own driver
// returns a value cut to 16 bits, which is not followed. Keep the value and give it as an option.
func (d *Dev) CalibrateCrosstalk(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate crosstalk"
	if err := d.checkTarget(op, trueMM, 50, 5000, n); err != nil {
		return 0, err
	}
	s, err := d.measure(ctx, op, n, func() error { return d.writeCrosstalk(0) })
	if err != nil {
		return 0, err
	}
	raw := s.crosstalk(trueMM)
	d.conf.CrosstalkKcps = rise.Known(float64(raw) / kcpsFraction)
	return float64(raw) / kcpsFraction, d.writeCrosstalk(raw)
}

// crosstalk is the register's value for a true distance, mm. A range that is not too short has none.
func (s sums) crosstalk(trueMM float64) uint16 {
	x := kcpsFraction * s.kcps * (1 - s.mm/s.n/trueMM) / s.spads
	return uint16(min(max(math.Round(x), 0), math.MaxUint16))
}
