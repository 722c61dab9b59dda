package vl6180x

import (
	"context"
	"slices"

	"nightjar/rise"
	"nightjar/sensor"
)

// relied lists the settings on which the range depends. Whatever else reads back otherwise a second time is the chip's
// own doing.
var relied = []uint16{regConvergence, regCrosstalk, regCrosstalk + 1, regEarly, regEarly + 1, regOffset, regChecks, regScaler,
	regScaler + 1, regAveraging, regInterrupt}

// setUp writes all settings and compares what reads back; what a bus controller garbled is mended by writing again.
func (d *Dev) setUp(ctx context.Context) error {
	var wrong, read write
	for round := range 3 {
		if round > 0 {
			if err := d.reset(ctx); err != nil {
				return err
			}
		}
		if err := d.settings(); err != nil {
			return err
		}
		var err error
		if wrong, read, err = d.compare(); err != nil {
			return err
		}
		if wrong == read || round > 0 && !slices.Contains(relied, wrong.reg) {
			return d.settled()
		}
	}
	return d.Errorf("check settings", sensor.ErrHardware, "register 0x%04x reads %02x, %02x was written", wrong.reg, read.v, wrong.v)
}

// put writes a setting and remembers it for the comparison.
func (d *Dev) put(reg uint16, v ...byte) error {
	for i, b := range v {
		d.wrote = append(d.wrote, write{reg + uint16(i), b})
	}
	return d.Write("write settings", reg, v...)
}

// settings writes everything: the private block, then what ST recommends, then the options.
func (d *Dev) settings() error {
	d.wrote = d.wrote[:0]
	for _, p := range private {
		if err := d.put(p[0], byte(p[1])); err != nil {
			return err
		}
	}
	conv := convergence(d.opts.Budget)
	for _, w := range []struct {
		reg uint16
		v   []byte
	}{
		{regGPIO1, []byte{0x10}}, // an interrupt, active low
		{regAveraging, []byte{averaging}},
		{regALSGain, []byte{0x46}},
		{regRepeat, []byte{0xFF}},        // calibrate every 255 ranges
		{regALSTime, []byte{0x00, 0x63}}, // 100 ms
		{regPeriod, []byte{period(conv)}},
		{regALSPeriod, []byte{0x31}},
		{regInterrupt, []byte{0x24}}, // after every measurement, good or not
		{regConvergence, []byte{conv}},
		{regChecks, []byte{0x11}},
	} {
		if err := d.put(w.reg, w.v...); err != nil {
			return err
		}
	}
	if err := d.options(conv); err != nil {
		return err
	}
	return d.calibrate(context.Background())
}

// options writes offset, crosstalk, and the threshold of early convergence.
func (d *Dev) options(conv byte) error {
	if mm, ok := d.opts.OffsetMM.Get(); ok {
		if err := d.put(regOffset, byte(int8(mm))); err != nil {
			return err
		}
	} else if err := d.factoryOffset(); err != nil {
		return err
	}
	raw := crosstalkBits(d.opts.CrosstalkKcps.Or(0))
	if err := d.put(regCrosstalk, byte(raw>>8), byte(raw)); err != nil {
		return err
	}
	samples, err := d.Read8("read settings", regSamples)
	if err != nil {
		return err
	}
	light, err := d.Read32("read settings", regLight)
	if err != nil {
		return err
	}
	e := early(conv, samples, light)
	return d.put(regEarly, byte(e>>8), byte(e))
}

// factoryOffset leaves the factory's offset in place. It is read once, until it reads the same twice, since nothing else can
// check it; from then on it is written like any setting: without a reset line nothing but the power would bring it back once it
// was overwritten.
func (d *Dev) factoryOffset() error {
	if mm, ok := d.factory.Get(); ok {
		return d.put(regOffset, byte(int8(mm)))
	}
	before := -1
	for range 4 {
		v, err := d.Read8("read settings", regOffset)
		if err != nil {
			return err
		}
		if int(v) == before {
			d.factory = rise.Known(float64(int8(v)))
			d.wrote = append(d.wrote, write{regOffset, v})
			return nil
		}
		before = int(v)
	}
	return d.Errorf("read settings", sensor.ErrHardware, "its offset says something else each time")
}

// compare reads all settings back and returns the gravest difference: what was written and what reads. Equal is none.
func (d *Dev) compare() (wrong, read write, err error) {
	for _, w := range d.wrote {
		v, err := d.Read8("read settings back", w.reg)
		if err != nil {
			return wrong, read, err
		}
		if v != w.v && (wrong == read || slices.Contains(relied, w.reg)) {
			wrong, read = w, write{w.reg, v}
		}
	}
	return wrong, read, nil
}

// settled tells the chip that it has its settings, and makes sure that it heard.
func (d *Dev) settled() error {
	for range 3 {
		if err := d.Write("write settings", regFresh, 0); err != nil {
			return err
		}
		v, err := d.Read8("read settings back", regFresh)
		if err != nil {
			return err
		}
		if v&1 == 0 {
			return d.clear()
		}
	}
	return d.Errorf("check settings", sensor.ErrHardware, "it says again and again that it was reset: check its supply")
}
