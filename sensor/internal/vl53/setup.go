package vl53

import (
	"context"
	"math"
	"slices"
	"time"

	"nightjar/sensor"
)

// calibrationBound is how long a calibrating range may take: with the default period about 100 ms
// (sparkfun/SparkFun_VL53L1X_Arduino_Library issue 37).
const calibrationBound = 500 * time.Millisecond

// The registers that are compared before each burst: both timeouts, both laser periods, the sigma threshold and the
// signal threshold. After a reset they are something else.
const (
	checkFrom = RegTimeoutA
	checkLen  = 10
)

// readBack lists the registers of the block that public drivers read back and rely on.
var readBack = []int{regPolarity, RegPhaseTimeout, 0x5E, 0x5F, 0x60, 0x61, 0x62, 0x63, 0x64, 0x65, 0x66, 0x67,
	0x6C, 0x6D, 0x6E, 0x6F, RegROICentre, RegROISize}

// setUp writes all settings to a chip that was just reset and compares what reads back. A transfer that a bus
// controller garbled leaves a difference, which beginning again mends. A byte that twice reads back otherwise in the
// same way is the chip's own doing and is accepted, unless public drivers rely on it.
func (d *Dev) setUp(ctx context.Context) error {
	var before []int
	for try := range 3 {
		if try > 0 {
			if err := d.reset(ctx); err != nil {
				return err
			}
		}
		if err := d.write(ctx); err != nil {
			return err
		}
		differ, err := d.differences()
		if err != nil {
			return err
		}
		if len(differ) == 0 || slices.Equal(differ, before) && !slices.ContainsFunc(differ, relied) {
			return nil
		}
		before = differ
	}
	r := before[0]
	return d.Errorf("check settings", sensor.ErrHardware, "register 0x%04x reads %02x, %02x was written", r, d.back[r-RegBlock],
		d.image.Get(r))
}

func relied(reg int) bool { return slices.Contains(readBack, reg) }

// write writes all settings.
func (d *Dev) write(ctx context.Context) error {
	d.image = d.model.Block
	limit := uint16(math.Round(d.conf.SigmaMM * 4))
	d.image.Set(RegSigma, byte(limit>>8), byte(limit))
	if err := d.Write("write settings", RegBlock, d.image[:]...); err != nil {
		return err
	}
	if err := d.calibrateOnce(ctx); err != nil {
		return err
	}
	for _, w := range d.model.Extra {
		if err := d.Write16("write settings", w.Reg, w.Value); err != nil {
			return err
		}
	}
	writes, err := d.model.Settle(d)
	if err != nil {
		return err
	}
	for _, w := range writes {
		if err := d.Write("write settings", w.Reg, w.Data...); err != nil {
			return err
		}
		d.image.Set(int(w.Reg), w.Data...)
	}
	return d.writeCalibration()
}

// calibrateOnce takes one range by which the chip calibrates itself, then makes it start from the last temperature.
func (d *Dev) calibrateOnce(ctx context.Context) error {
	if err := d.Write("calibrate", regStart, 0x40); err != nil {
		return err
	}
	if err := d.Until(ctx, "calibrate", 5*time.Millisecond, calibrationBound, d.Ready); err != nil {
		return err
	}
	for _, w := range []Write{{regClear, []byte{1}}, {regStart, []byte{0}}, {regVHVTimeout, []byte{9}}, {regVHVInit, []byte{0}}} {
		if err := d.Write("calibrate", w.Reg, w.Data...); err != nil {
			return err
		}
	}
	return nil
}

// differences lists the registers of the block that do not read back as written. The line's state and the command
// registers at the end are no settings.
func (d *Dev) differences() ([]int, error) {
	settings := d.back[:regClear-RegBlock]
	if err := d.Read("read settings back", RegBlock, settings); err != nil {
		return nil, err
	}
	var differ []int
	for i, v := range settings {
		if reg := RegBlock + i; v != d.image[i] && reg != regLine {
			differ = append(differ, reg)
		}
	}
	return differ, nil
}

// intact reports whether the settings still stand: not so after a dip of the supply that nobody told of.
func (d *Dev) intact() (bool, error) {
	err := d.Read("read settings back", checkFrom, d.check[:])
	return string(d.check[:]) == string(d.image[checkFrom-RegBlock:checkFrom-RegBlock+checkLen]), err
}

// Constant reads a register that does not change, by whose value settings are computed: until it reads the same twice in a
// row, since a garbled value would stand in the settings for good.
func (d *Dev) Constant(op string, reg uint16) (uint16, error) {
	last, err := d.Read16(op, reg)
	for range 4 {
		if err != nil {
			return 0, err
		}
		before := last
		if last, err = d.Read16(op, reg); err == nil && last == before {
			return last, nil
		}
	}
	return 0, d.Errorf(op, sensor.ErrHardware, "register 0x%04x reads something else each time", reg)
}
