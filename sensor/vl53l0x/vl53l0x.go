package vl53l0x

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/internal/tof"
	"nightjar/sensor/register"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// DefaultAddr is the address after power-up.
const DefaultAddr = tof.DefaultAddr

// Opts are the options of a VL53L0X. Only Clock must be set.
type Opts struct {
	// Clock is where the driver takes its time from.
	Clock sensor.Clock
	// Budget is the time for a single range, 20 ms to 1 s; 0 is 100 ms. Noise falls with its square root.
	Budget time.Duration
	// SigmaMM is the standard deviation of a burst beyond which its ranges do not count as good, mm; 0 is 18, which is ST's
	// limit for the chip.
	SigmaMM float64
	// OffsetMM is what CalibrateOffset found, mm; unknown keeps what the chip has. CrosstalkKcps is what CalibrateCrosstalk
	// found; unknown is none.
	OffsetMM, CrosstalkKcps rise.Num
	// Window says that a cover glass lies above the chip: its reference receivers are then measured at set-up.
	Window bool
	// XSHUT is the chip's reset line, nil if it is not wired. Low holds the chip in reset.
	XSHUT gpio.PinOut
	// Interrupt is the chip's GPIO1 line, set up as an input, nil if it is not wired.
	Interrupt gpio.PinIn
	// Sole says that no other ranger is on the bus: one that answers at 0x29 is this one even if it is to have another
	// address, since a dip of the supply puts it back there.
	Sole bool
}

// Dev is a VL53L0X. It must not be used by two goroutines at once.
type Dev struct {
	*tof.Dev
	opts Opts

	met   bool // the chip was identified before
	page  byte
	image image // what was written, as it should read back
	good  spadMap
	stop  byte // what ST calls the stop variable
	block [blockLen]byte
	byte1 [1]byte
	bytes [6]byte
}

// New finds the chip on a bus, resets it, moves it to addr if that is not the default address, and checks its identity. It
// takes some 5 ms. The settings are written by the first Range. The bus stays the caller's.
func New(b i2c.Bus, addr uint16, opts *Opts) (*Dev, error) {
	d := &Dev{}
	if opts != nil {
		d.opts = *opts
	}
	if err := d.opts.check(); err != nil {
		return nil, fmt.Errorf("VL53L0X: %w", err)
	}
	ops := tof.Ops{
		Identify: d.identify, Reset: d.reset, Booted: d.booted, Move: d.move, SetUp: d.setUp, Intact: d.intact,
		Calibrate: d.calibrate, Start: d.start, Stop: d.halt, Ready: d.isReady, ReadyHigh: gpio.Low, Take: d.take,
		Block: d.block[:], Sample: d.sample,
	}
	conf := tof.Config{Clock: d.opts.Clock, Budget: d.opts.Budget, SpreadMM: d.opts.SigmaMM, XSHUT: d.opts.XSHUT,
		Interrupt: d.opts.Interrupt, Sole: d.opts.Sole}
	var err error
	if d.Dev, err = tof.Make(register.Narrow(b, addr, "VL53L0X"), ops, conf); err != nil {
		return nil, fmt.Errorf("VL53L0X: %w", err)
	}
	if err := d.Arrive(context.Background()); err != nil {
		return nil, err
	}
	return d, nil
}

// check fills in the defaults and refuses what the chip cannot do.
func (o *Opts) check() error {
	if o.Budget == 0 {
		o.Budget = 100 * time.Millisecond
	}
	if o.SigmaMM == 0 {
		o.SigmaMM = 18
	}
	mm, kcps := o.OffsetMM.Or(0), o.CrosstalkKcps.Or(0)
	switch {
	case o.Budget < MinBudget || o.Budget > MaxBudget:
		return fmt.Errorf("timing budget %v: must be %v to %v", o.Budget, MinBudget, MaxBudget)
	case math.Abs(mm) > 511:
		return fmt.Errorf("offset of %.2f mm: must be within ±511 mm", mm)
	case kcps < 0 || kcps >= 8000:
		return fmt.Errorf("crosstalk of %.3f kcps a receiver: must be 0 to below 8000", kcps)
	}
	return nil
}

// booted asks anything: the chip answers only once it has booted.
func (d *Dev) booted() (bool, error) {
	_, err := d.Read8("read identity", regModel)
	return err == nil, err
}

// identify checks the chip's identity. A chip whose set-up was interrupted may stand on another page, where other
// registers have these numbers; then register 0xFF says which, and no stranger is likely to say the same.
func (d *Dev) identify() error {
	ok, err := d.known()
	if err != nil || ok {
		d.met = d.met || ok
		return err
	}
	page, err := d.Read8("read page", regPage)
	if err != nil {
		return err
	}
	if d.met || page >= 1 && page <= 7 {
		if err := d.Write("select page", regPage, 0); err != nil {
			return err
		}
		if ok, err = d.known(); err != nil || ok {
			return err
		}
	}
	if ok, err = d.release(); err != nil || ok {
		return err
	}
	b := d.bytes[:3]
	return d.Errorf("check identity", sensor.ErrIdentity, "it says %02X %02X %02X, a VL53L0X says EE AA 10", b[0], b[1], b[2])
}

// release lets a chip go that reads as zeros, since its register may hold it in reset, and reports whether it was one.
// So may a stranger read; the write is half an index to those with indices of two bytes. The chip boots in 1.2 ms, about
// two of these reads.
func (d *Dev) release() (bool, error) {
	if d.bytes[0] != 0 || d.bytes[1] != 0 || d.bytes[2] != 0 {
		return false, nil
	}
	if err := d.Write("reset", regReset, 1); err != nil {
		return false, err
	}
	for range 10 {
		if ok, err := d.known(); ok || err != nil && !errors.Is(err, sensor.ErrAbsent) {
			return ok, err
		}
	}
	return false, nil
}

func (d *Dev) known() (bool, error) {
	b := d.bytes[:3]
	err := d.Read("read identity", regModel, b)
	return b[0] == 0xEE && b[1] == 0xAA && b[2] == 0x10, err
}

// resetBound is how long the chip may take for one half of a reset.
const resetBound = 20 * time.Millisecond

// reset resets the chip by its register: its model reads 0 while it is in reset.
func (d *Dev) reset(ctx context.Context) error {
	if err := d.Write("select page", regPage, 0); err != nil {
		return err
	}
	for _, held := range []byte{0, 1} {
		if err := d.Write("reset", regReset, held); err != nil {
			return err
		}
		err := d.Until(ctx, "reset", time.Millisecond, resetBound, func() (bool, error) {
			v, err := d.Read8("read identity", regModel)
			return (v != 0) == (held == 1), err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (d *Dev) move(addr byte) error { return d.Write("change address", regAddress, addr) }

// intact reports whether the settings still stand. After a reset the pre-range's timeout is 0099 (data sheet, reference
// registers), 0096 is what the tuning table writes.
func (d *Dev) intact() (bool, error) {
	for _, reg := range [2]byte{regPrePeriod, regFinalPeriod} {
		if err := d.Read("read settings back", uint16(reg), d.bytes[:3]); err != nil {
			return false, err
		}
		for i, v := range d.bytes[:3] {
			if want, ok := d.image.get(0, reg+byte(i)); ok && v != want {
				return false, nil
			}
		}
	}
	return true, nil
}

// prologue stands before every start. It is written through, not kept in the image: these registers are commands.
func (d *Dev) prologue() error {
	return d.commands("start", regPower, 1, regPage, 1, regStart, 0, regStopVariable, d.stop, regStart, 1, regPage, 0, regPower, 0)
}

// start begins back-to-back ranging.
func (d *Dev) start() error {
	if err := d.clear(); err != nil {
		return err
	}
	if err := d.prologue(); err != nil {
		return err
	}
	return d.commands("start", regStart, 2)
}

// halt ends ranging as ST's driver does; another public driver writes 01 first.
func (d *Dev) halt() error {
	return d.commands("stop", regStart, 0, regPage, 1, regStart, 0, regStopVariable, 0, regStart, 1, regPage, 0)
}

func (d *Dev) isReady() (bool, error) {
	v, err := d.Read8("ask for a range", regReady)
	return v&7 != 0, err
}

func (d *Dev) take() error {
	if err := d.Read("read result", regResult, d.block[:]); err != nil {
		return err
	}
	return d.clear()
}

// clear clears the interrupt, without which no further result comes.
func (d *Dev) clear() error { return d.commands("clear interrupt", regClear, 1, regClear, 0) }

// commands writes pairs of register and byte that are no settings.
func (d *Dev) commands(op string, pairs ...byte) error {
	for i := 0; i < len(pairs); i += 2 {
		d.byte1[0] = pairs[i+1]
		if err := d.Write(op, uint16(pairs[i]), d.byte1[:]...); err != nil {
			return err
		}
	}
	return nil
}

// sample is the last result in the terms that all rangers share.
func (d *Dev) sample() tof.Result {
	r, err := decode(d.block[:])
	if err != nil {
		return tof.Result{Sample: rise.Sample{Status: rise.StatusOther}}
	}
	s := tof.Result{SPADs: r.spads, Sample: rise.Sample{
		RangeMM: float64(r.rangeMM), Status: r.status(),
		SignalMcps: rise.Known(r.signalMcps), AmbientMcps: rise.Known(r.ambientMcps),
	}}
	// ST's driver compares the signal with the crosstalk on the host; the chip does not.
	if x := d.opts.CrosstalkKcps.Or(0); x > 0 && s.Status == rise.StatusGood && r.signalMcps <= x/1000*r.spads {
		s.Status = rise.StatusWeak
	}
	return s
}

var (
	_ sensor.Ranger                                   = (*Dev)(nil)
	_ interface{ Precision() physic.Distance }        = (*Dev)(nil)
	_ interface{ SetTemperature(physic.Temperature) } = (*Dev)(nil)
)
