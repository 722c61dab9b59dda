package vl53

import (
	"context"
	"fmt"
	"math"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/internal/tof"
	"nightjar/sensor/register"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
)

// Dev is a chip of the family on a bus. It must not be used by two goroutines at once.
type Dev struct {
	*tof.Dev
	model Model
	conf  Config
	image Block // what the settings read back as
	block [BlockLen]byte
	check [checkLen]byte
	back  [len(Block{})]byte
}

// New finds the chip, resets it and checks its identity. Everything else is done by the first Range.
func New(b i2c.Bus, addr uint16, m Model, conf Config) (*Dev, error) {
	if err := conf.checkCalibration(); err != nil {
		return nil, fmt.Errorf("%s: %w", m.Name, err)
	}
	d := &Dev{model: m, conf: conf}
	ops := tof.Ops{
		Identify: d.identify, Reset: d.reset, Booted: d.booted, Move: d.move, SetUp: d.setUp, Intact: d.intact,
		Calibrate: d.updateTemperature, Start: d.start, Stop: d.stop, Ready: d.askReady, ReadyHigh: d.activeHigh(), Take: d.take,
		Skip: 1, Counted: true, Block: d.block[:], Sample: d.sample,
	}
	var err error
	d.Dev, err = tof.Make(register.Wide(b, addr, m.Name), ops, tof.Config{Clock: conf.Clock, Budget: conf.Budget, XSHUT: conf.XSHUT,
		Interrupt: conf.Interrupt, Sole: conf.Sole})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", m.Name, err)
	}
	return d, d.Arrive(context.Background())
}

func (c Config) checkCalibration() error {
	if mm, ok := c.OffsetMM.Get(); ok && math.Abs(mm) > 512 {
		return fmt.Errorf("offset of %.2f mm: must be within ±512 mm", mm)
	}
	if x, ok := c.CrosstalkKcps.Get(); ok && (x < 0 || x >= 64) {
		return fmt.Errorf("crosstalk of %.3f kcps a receiver: must be 0 to below 64", x)
	}
	return nil
}

// booted asks whether the chip's firmware runs.
func (d *Dev) booted() (bool, error) {
	v, err := d.Read8("read boot state", regFirmware)
	return v&1 != 0, err
}

// identify checks the chip's identity. One that a program left in reset reads as zeros: it is let go and asked again.
func (d *Dev) identify() error {
	id, err := d.Read16("read identity", regIdentity)
	if err == nil && id == 0 {
		err = d.letGo(context.Background())
		if err == nil {
			id, err = d.Read16("read identity", regIdentity)
		}
	}
	if err == nil && id != d.model.ID {
		err = d.Errorf("check identity", sensor.ErrIdentity, "it says %04X, a %s says %04X", id, d.model.Name, d.model.ID)
	}
	return err
}

// reset resets the chip's core by its register. Settings that assume reset values and do not find them range wrongly
// (ArduPilot issue 13031), so there is always a reset.
func (d *Dev) reset(ctx context.Context) error {
	if err := d.Write("reset", regSoftReset, 0); err != nil {
		return err
	}
	if err := d.Sleep(ctx, 200*time.Microsecond); err != nil { // ≥ 100 µs
		return err
	}
	return d.letGo(ctx)
}

// letGo ends a reset and waits while the chip boots (data sheets: 1.2 ms).
func (d *Dev) letGo(ctx context.Context) error {
	if err := d.Write("reset", regSoftReset, 1); err != nil {
		return err
	}
	return d.Sleep(ctx, 2*time.Millisecond)
}

// move changes the chip's address.
func (d *Dev) move(addr byte) error { return d.Write("change address", regAddress, addr) }

func (d *Dev) start() error { return d.Write("start", regStart, d.model.Start) }

func (d *Dev) stop() error { return d.Write("stop", regStart, 0) }

// activeHigh is the level of the interrupt line when there is a result.
func (d *Dev) activeHigh() gpio.Level { return d.model.Block.Get(regPolarity)&0x10 == 0 }

// askReady asks whether there is a result.
func (d *Dev) askReady() (bool, error) {
	v, err := d.Read8("ask for a range", regLine)
	return gpio.Level(v&1 != 0) == d.activeHigh(), err
}

// take reads a result, then clears it.
func (d *Dev) take() error {
	if err := d.Read("read result", regResult, d.block[:]); err != nil {
		return err
	}
	return d.Write("clear interrupt", regClear, 1)
}

// sample is the result in the terms of all rangers. A range nearer than the chip is linear from is none.
func (d *Dev) sample() tof.Result {
	r, err := Decode(d.block[:])
	if err != nil { // the block is long enough by its type
		return tof.Result{Sample: rise.Sample{Status: rise.StatusOther}}
	}
	s := r.Sample()
	if s.Status == rise.StatusGood && s.RangeMM < d.model.NearestMM {
		s.Status = rise.StatusTooNear
	}
	return tof.Result{Sample: s, SPADs: r.SPADs}
}
