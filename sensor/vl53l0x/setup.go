package vl53l0x

import (
	"context"
	"encoding/binary"
	"math"
	"time"

	"nightjar/sensor"
)

// calibrationBound is how long a calibration may take. They take a few milliseconds.
const calibrationBound = 200 * time.Millisecond

// image keeps what was written to pages 0 and 1.
type image struct {
	set   [2][256]bool
	value [2][256]byte
}

func (m *image) put(page, reg, v byte) {
	if page < 2 {
		m.set[page][reg], m.value[page][reg] = true, v
	}
}

func (m *image) get(page, reg byte) (byte, bool) { return m.value[page][reg], m.set[page][reg] }

// volatile tells the registers that need not read back as written: commands, and what the chip changes itself.
func volatile(page, reg byte) bool {
	switch reg {
	case regStart, regClear, regPower, regStopVariable, regPage, 0x8E:
		return true
	}
	return page == 0 && reg == regI2CMode
}

// relied lists the registers of page 0 on which the range depends. Whatever else reads back otherwise a second time is
// the chip's own doing.
var relied = []byte{regSequence, regCrosstalk, regCrosstalk + 1, regOffset, regOffset + 1, regLimit, regLimit + 1, regMSRCTimeout,
	regPrePeriod, regPreTimeout, regPreTimeout + 1, regFinalPeriod, regFinal, regFinal + 1,
	regSPADs, regSPADs + 1, regSPADs + 2, regSPADs + 3, regSPADs + 4, regSPADs + 5, regSelect}

// put writes a setting and keeps it in the image. A write to the page register selects the page.
func (d *Dev) put(reg byte, v ...byte) error {
	if err := d.Write("write settings", uint16(reg), v...); err != nil {
		return err
	}
	if reg == regPage {
		d.page = v[0]
		return nil
	}
	for i, b := range v {
		d.image.put(d.page, reg+byte(i), b)
	}
	return nil
}

// puts writes pairs of register and byte.
func (d *Dev) puts(pairs ...byte) error {
	for i := 0; i < len(pairs); i += 2 {
		if err := d.put(pairs[i], pairs[i+1]); err != nil {
			return err
		}
	}
	return nil
}

func (d *Dev) put16(reg byte, v uint16) error { return d.put(reg, byte(v>>8), byte(v)) }

// update reads a setting, keeps the bits of mask, sets those of bits, and writes it back.
func (d *Dev) update(reg, mask, bits byte) error {
	v, err := d.Read8("read settings", uint16(reg))
	if err != nil {
		return err
	}
	return d.put(reg, v&mask|bits)
}

// setUp writes all settings and compares what reads back; what a bus controller garbled is mended by writing again.
func (d *Dev) setUp(ctx context.Context) error {
	var wrong fault
	for round := range 3 {
		if round > 0 {
			if err := d.reset(ctx); err != nil {
				return err
			}
		}
		if err := d.write(ctx); err != nil {
			return err
		}
		var err error
		if wrong, err = d.compare(); err != nil {
			return err
		}
		if !wrong.any || round > 0 && !wrong.relied {
			return nil
		}
	}
	return d.Errorf("check settings", sensor.ErrHardware, "register 0x%02x reads %02x, %02x was written", wrong.reg, wrong.read, wrong.wrote)
}

// fault is a setting that reads back otherwise.
type fault struct {
	any, relied      bool
	reg, read, wrote byte
}

// compare reads back what was written, page by page, and returns the gravest difference.
func (d *Dev) compare() (fault, error) {
	var f fault
	for page := range byte(2) {
		if err := d.commands("read settings back", regPage, page); err != nil {
			return f, err
		}
		for reg := range 256 {
			want, ok := d.image.get(page, byte(reg))
			if !ok || volatile(page, byte(reg)) {
				continue
			}
			got, err := d.Read8("read settings back", uint16(reg))
			if err != nil {
				return f, err
			}
			if got != want {
				f.note(page, byte(reg), got, want)
			}
		}
	}
	return f, d.commands("read settings back", regPage, 0)
}

func (f *fault) note(page, reg, got, want byte) {
	grave := false
	for _, r := range relied {
		grave = grave || page == 0 && r == reg
	}
	if !f.any || grave {
		*f = fault{any: true, relied: f.relied || grave, reg: reg, read: got, wrote: want}
	}
}

// write writes all settings in ST's order.
func (d *Dev) write(ctx context.Context) error {
	d.page, d.image = 0, image{}
	for _, step := range []func(context.Context) error{d.basics, d.offset, d.spads, d.tune, d.timing, d.calibrate, d.window, d.crosstalk} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// basics sets the level of the bus, finds the stop variable and sets the limit of signal, 0.25 Mcps.
func (d *Dev) basics(context.Context) error {
	if err := d.puts(regPage, 0); err != nil {
		return err
	}
	if err := d.update(regLevels, 0xFF, 1); err != nil {
		return err
	}
	if err := d.puts(regI2CMode, 0, regPower, 1, regPage, 1, regStart, 0); err != nil {
		return err
	}
	var err error
	if d.stop, err = d.twice(regStopVariable); err != nil {
		return err
	}
	if err := d.puts(regStart, 1, regPage, 0, regPower, 0); err != nil {
		return err
	}
	if err := d.update(regMSRC, 0xFF, 0x12); err != nil {
		return err
	}
	if err := d.put16(regLimit, 0x0020); err != nil {
		return err
	}
	return d.put(regSequence, 0xFF)
}

// twice reads a register that can be checked by nothing else until it says the same twice.
func (d *Dev) twice(reg byte) (byte, error) {
	before := -1
	for range 4 {
		v, err := d.Read8("read settings", uint16(reg))
		if err != nil || int(v) == before {
			return v, err
		}
		before = int(v)
	}
	return 0, d.Errorf("read settings", sensor.ErrHardware, "register 0x%02x says something else each time", reg)
}

// offset sets the given offset, or notes the factory's, so that the comparison covers it.
func (d *Dev) offset(context.Context) error {
	if mm, ok := d.opts.OffsetMM.Get(); ok {
		return d.put16(regOffset, offsetBits(mm))
	}
	for _, reg := range []byte{regOffset, regOffset + 1} {
		v, err := d.twice(reg)
		if err != nil {
			return err
		}
		d.image.put(0, reg, v)
	}
	return nil
}

// offsetBits is an offset in signed quarters of a millimetre, 12 bits.
func offsetBits(mm float64) uint16 { return uint16(int16(math.Round(mm*4))) & 0x0FFF }

// tune writes the tuning table and the interrupt: on each new range, active low.
func (d *Dev) tune(context.Context) error {
	if err := d.puts(tuning...); err != nil {
		return err
	}
	if err := d.put(regInterrupt, 4); err != nil {
		return err
	}
	if err := d.update(regPolarity, 0xEF, 0); err != nil {
		return err
	}
	return d.put(regClear, 1)
}

// timing sets the sequence and the budget, from the periods and timeouts that the chip has.
func (d *Dev) timing(context.Context) error {
	if err := d.put(regSequence, sequence); err != nil {
		return err
	}
	t, err := d.readTiming()
	if err != nil {
		return err
	}
	final, ok := t.final(d.opts.Budget)
	if !ok {
		return d.Errorf("set timing", sensor.ErrHardware, "a budget of %v leaves no time with the periods that the chip has", d.opts.Budget)
	}
	return d.put16(regFinal, final)
}

func (d *Dev) readTiming() (timing, error) {
	var t timing
	b := d.bytes[:3]
	if err := d.Read("read timing", regPrePeriod, b); err != nil {
		return t, err
	}
	t.prePeriod, t.pre = (int(b[0])+1)*2, int(decodeTimeout(binary.BigEndian.Uint16(b[1:])))
	msrc, err := d.Read8("read timing", regMSRCTimeout)
	if err != nil {
		return t, err
	}
	final, err := d.Read8("read timing", regFinalPeriod)
	t.msrc, t.finalPeriod = int(msrc)+1, (int(final)+1)*2
	return t, err
}

// calibrate has the chip calibrate its laser's supply (VHV) and its phase to its temperature, as it must at the start
// and when the temperature has moved by more than 8 °C (data sheet). The chip stands still.
func (d *Dev) calibrate(ctx context.Context) error {
	for _, c := range [][2]byte{{1, 0x41}, {2, 0x01}} { // VHV, phase: its step of the sequence, its start
		if err := d.commands("calibrate", regSequence, c[0], regStart, c[1]); err != nil {
			return err
		}
		if err := d.Until(ctx, "calibrate", 2*time.Millisecond, calibrationBound, d.isReady); err != nil {
			return err
		}
		if err := d.clear(); err != nil {
			return err
		}
		if err := d.commands("calibrate", regStart, 0); err != nil {
			return err
		}
	}
	return d.put(regSequence, sequence)
}

// crosstalk sets what a window throws back, 3.13 Mcps a receiver; 0 is off.
func (d *Dev) crosstalk(context.Context) error {
	return d.put16(regCrosstalk, crosstalkBits(d.opts.CrosstalkKcps.Or(0)))
}

// crosstalkBits cuts, as ST's driver does.
func crosstalkBits(kcps float64) uint16 { return uint16(kcps / 1000 * 8192) }
