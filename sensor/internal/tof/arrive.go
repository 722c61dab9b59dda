package tof

import (
	"context"
	"errors"
	"fmt"
	"time"

	"nightjar/sensor"

	"periph.io/x/conn/v3/gpio"
)

const (
	// bootTime is what a chip takes at most after power or XSHUT before it answers, with some to spare (data sheets: VL53L0X
	// 1.2 ms, VL6180X 1.4 ms).
	bootTime = 2 * time.Millisecond
	// answerBound is how long a chip may stay silent that perhaps just got its power.
	answerBound = 10 * time.Millisecond
	// bootBound is how long it may then take to say that it has booted.
	bootBound = 100 * time.Millisecond
	// turnBound is how long the other chips of the bus may take to come up.
	turnBound = 2 * time.Second
)

// Arrive finds the chip, resets it and leaves it at its address, booted and identified.
func (d *Dev) Arrive(ctx context.Context) error {
	d.fail()
	done, err := d.turn(ctx)
	if err != nil {
		return err
	}
	defer done()
	if err := d.reset(ctx); err != nil {
		return err
	}
	if d.Addr() != d.home {
		if err := d.move(ctx); err != nil {
			return err
		}
	}
	if err := d.boot(ctx); err != nil {
		return err
	}
	d.fresh, d.alike = true, 0
	return nil
}

// turn waits until no other chip of the bus is coming up at the default address, if this one is to do so. It tries and
// sleeps, since whoever holds the lock sleeps by the same clock, which may be one that waits for all of its sleepers.
func (d *Dev) turn(ctx context.Context) (done func(), err error) {
	bus, ok := d.Bus().(sensor.SharedBus)
	if !ok || d.conf.XSHUT == nil {
		return func() {}, nil
	}
	m := bus.Arrivals()
	return m.Unlock, d.Until(ctx, "wait for the bus", time.Millisecond, turnBound, func() (bool, error) { return m.TryLock(), nil })
}

// reset resets the chip by its line, or by its registers where no line is wired.
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
	if err == nil {
		err = d.Identify()
	}
	if err == nil {
		err = d.Reset(ctx)
	}
	if err != nil {
		d.SetAddr(d.home)
	}
	return err
}

// resetByLine pulls XSHUT low and lets it go. While it is low nothing may answer at the default address: that would be
// another chip, and both would move.
func (d *Dev) resetByLine(ctx context.Context) error {
	if err := d.conf.XSHUT.Out(gpio.Low); err != nil {
		return fmt.Errorf("reset %v by %s: %w: %w", d, d.conf.XSHUT.Name(), sensor.ErrBus, err)
	}
	if err := d.Sleep(ctx, time.Millisecond); err != nil {
		return err
	}
	d.SetAddr(DefaultAddr)
	if _, err := d.Booted(); err == nil && d.home != DefaultAddr {
		return d.Errorf("reset", sensor.ErrIdentity, "something answers while XSHUT holds this chip in reset; "+
			"give each ranger on the bus its own XSHUT line and an address other than 0x29")
	}
	if err := d.conf.XSHUT.Out(gpio.High); err != nil {
		return fmt.Errorf("reset %v by %s: %w: %w", d, d.conf.XSHUT.Name(), sensor.ErrBus, err)
	}
	return d.Sleep(ctx, bootTime)
}

// answers waits until the chip acknowledges at all.
func (d *Dev) answers(ctx context.Context) error {
	var last error
	err := d.Until(ctx, "probe", time.Millisecond, answerBound, func() (bool, error) {
		_, last = d.Booted()
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

// boot waits until the chip has booted and checks who it is.
func (d *Dev) boot(ctx context.Context) error {
	if err := d.answers(ctx); err != nil {
		return err
	}
	if err := d.Until(ctx, "boot", time.Millisecond, bootBound, d.Booted); err != nil {
		return err
	}
	return d.Identify()
}

// move gives the chip, which answers at the default address, the one that it is to have.
func (d *Dev) move(ctx context.Context) error {
	if err := d.boot(ctx); err != nil {
		return err
	}
	if err := d.Move(byte(d.home)); err != nil {
		return err
	}
	d.SetAddr(d.home)
	return nil
}
