package vl53

import (
	"context"
	"errors"
	"fmt"
	"time"

	"nightjar/sensor"

	"periph.io/x/conn/v3/gpio"
)

const (
	// bootTime is what a chip takes at most after power or XSHUT before it answers, with some to spare (data sheets: 1.2 ms).
	bootTime = 2 * time.Millisecond
	// answerBound is how long a chip may stay silent that perhaps just got its power.
	answerBound = 10 * time.Millisecond
	// bootBound is how long its firmware may take to say that it has booted (UM2931: 1 s).
	bootBound = time.Second
)

// arrive resets the chip and leaves it at its address, booted, identified, with reset settings. Settings that assume reset
// values and do not find them range wrongly (ArduPilot issue 13031), so there is always a reset.
func (d *Dev) arrive(ctx context.Context) error {
	d.fail()
	if err := d.reset(ctx); err != nil {
		return err
	}
	if d.Addr() != d.home {
		if err := d.move(ctx); err != nil {
			return err
		}
	}
	if err := d.booted(ctx); err != nil {
		return err
	}
	d.fresh = true
	return nil
}

// reset resets the chip by its line, or by register 0 where no line is wired.
func (d *Dev) reset(ctx context.Context) error {
	if d.conf.XSHUT != nil {
		return d.resetByLine(ctx)
	}
	d.SetAddr(d.home)
	err := d.answers(ctx)
	if errors.Is(err, sensor.ErrAbsent) && d.conf.Sole && d.home != DefaultAddr {
		d.SetAddr(DefaultAddr) // a dip of the supply puts it back there
		err = d.answers(ctx)
	}
	if err != nil {
		d.SetAddr(d.home)
		return err
	}
	return d.resetByRegister(ctx)
}

// resetByLine pulls XSHUT low and lets it go. While it is low nothing may answer at the default address: that would be
// another chip, and both would move.
func (d *Dev) resetByLine(ctx context.Context) error {
	if err := d.conf.XSHUT.Out(gpio.Low); err != nil {
		return fmt.Errorf("reset %v by %s: %w: %w", d, d.conf.XSHUT.Name(), sensor.ErrBus, err)
	}
	if err := d.sleep(ctx, time.Millisecond); err != nil {
		return err
	}
	d.SetAddr(DefaultAddr)
	if d.home != DefaultAddr {
		if _, err := d.Read8("probe", regFirmware); err == nil {
			return d.Errorf("reset", sensor.ErrIdentity, "something answers while XSHUT holds this chip in reset; "+
				"give each ranger on the bus its own XSHUT line and an address other than 0x29")
		}
	}
	if err := d.conf.XSHUT.Out(gpio.High); err != nil {
		return fmt.Errorf("reset %v by %s: %w: %w", d, d.conf.XSHUT.Name(), sensor.ErrBus, err)
	}
	return d.sleep(ctx, bootTime)
}

// resetByRegister resets the chip's core once its identity is known: another chip must not be written to. One that was
// left in reset reads as zeros, and is let go first.
func (d *Dev) resetByRegister(ctx context.Context) error {
	id, err := d.Read16("read identity", regIdentity)
	if err != nil {
		return err
	}
	if id != 0 {
		if err := d.identify(); err != nil {
			return err
		}
	}
	if err := d.Write("reset", regSoftReset, 0); err != nil {
		return err
	}
	if err := d.sleep(ctx, 200*time.Microsecond); err != nil { // ≥ 100 µs
		return err
	}
	if err := d.Write("reset", regSoftReset, 1); err != nil {
		return err
	}
	return d.sleep(ctx, bootTime)
}

// answers waits until the chip acknowledges at all.
func (d *Dev) answers(ctx context.Context) error {
	var last error
	err := d.until(ctx, "probe", time.Millisecond, answerBound, func() (bool, error) {
		_, last = d.Read8("probe", regFirmware)
		if errors.Is(last, sensor.ErrAbsent) {
			return false, nil
		}
		return last == nil, last
	})
	if errors.Is(err, sensor.ErrTimeout) {
		return last
	}
	return err
}

// booted waits until the chip's firmware runs and checks who it is.
func (d *Dev) booted(ctx context.Context) error {
	if err := d.answers(ctx); err != nil {
		return err
	}
	err := d.until(ctx, "boot", time.Millisecond, bootBound, func() (bool, error) {
		v, err := d.Read8("read boot state", regFirmware)
		return v&1 != 0, err
	})
	if err != nil {
		return err
	}
	return d.identify()
}

// identify checks the chip's identity.
func (d *Dev) identify() error {
	id, err := d.Read16("read identity", regIdentity)
	if err == nil && id != d.model.ID {
		err = d.Errorf("check identity", sensor.ErrIdentity, "it says %04X, a %s says %04X", id, d.model.Name, d.model.ID)
	}
	return err
}

// move gives the chip, which answers at the default address, the one that it is to have.
func (d *Dev) move(ctx context.Context) error {
	if err := d.booted(ctx); err != nil {
		return err
	}
	if err := d.Write("change address", regAddress, byte(d.home)); err != nil {
		return err
	}
	d.SetAddr(d.home)
	return nil
}
