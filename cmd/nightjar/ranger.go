package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"

	"nightjar/cmd/internal/config"
	"nightjar/sensor"
	"nightjar/sensor/detect"
	"nightjar/sensor/iio"
	"nightjar/sensor/vl53l0x"
	"nightjar/sensor/vl53l1x"
	"nightjar/sensor/vl53l4cd"
	"nightjar/sensor/vl6180x"
)

// rangerOpts are what every driver is told. Only clock must be set.
type rangerOpts struct {
	clock  sensor.Clock
	budget time.Duration
	xshut  gpio.PinOut
	// interrupt is set up as an input; nil where it is not wired.
	interrupt gpio.PinIn
	window    bool
	sole      bool
}

// newRanger makes the driver of a chip.
func newRanger(chip string, bus i2c.Bus, address uint16, o rangerOpts) (sensor.Ranger, error) {
	switch chip {
	case "vl53l4cd":
		return made(vl53l4cd.New(bus, address, &vl53l4cd.Opts{Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Interrupt: o.interrupt, Sole: o.sole}))
	case "vl53l1x":
		return made(vl53l1x.New(bus, address, &vl53l1x.Opts{Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Interrupt: o.interrupt, Sole: o.sole}))
	case "vl53l0x":
		return made(vl53l0x.New(bus, address, &vl53l0x.Opts{Window: o.window, Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Interrupt: o.interrupt, Sole: o.sole}))
	case config.ChipKernel:
		return made(iio.Open("", &iio.Opts{Clock: o.clock, Every: o.budget}))
	case "vl6180x":
		return made(vl6180x.New(bus, address, &vl6180x.Opts{Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Interrupt: o.interrupt, Sole: o.sole}))
	}
	return nil, fmt.Errorf("no driver for chip %q", chip)
}

// made keeps a failed driver from becoming an interface that is not nil.
func made[D sensor.Ranger](d D, err error) (sensor.Ranger, error) {
	if err != nil {
		return nil, err
	}
	return d, nil
}

// openRanger makes the driver of a chip, or of whichever chip answers where that is to be found out.
func openRanger(chip string, bus i2c.Bus, address uint16, o rangerOpts) (sensor.Ranger, error) {
	if chip == config.ChipAuto {
		var err error
		if chip, err = whichChip(bus, address, o); err != nil {
			return nil, err
		}
	}
	return newRanger(chip, bus, address, o)
}

// whichChip asks what answers where a ranger is to be. One with a reset line is woken alone, at the address where all wake.
func whichChip(bus i2c.Bus, address uint16, o rangerOpts) (string, error) {
	if o.xshut != nil {
		if err := wake(o); err != nil {
			return "", err
		}
		return detect.Chip(bus, detect.DefaultAddr)
	}
	chip, err := detect.Chip(bus, address)
	if errors.Is(err, sensor.ErrAbsent) && o.sole && address != detect.DefaultAddr {
		return detect.Chip(bus, detect.DefaultAddr) // a dip of the supply puts it back there
	}
	return chip, err
}

// wake resets a ranger by its line and waits until it has booted, which takes 1.4 ms at most (data sheets).
func wake(o rangerOpts) error {
	for _, level := range []gpio.Level{gpio.Low, gpio.High} {
		if err := o.xshut.Out(level); err != nil {
			return fmt.Errorf("reset by %v: %w: %w", o.xshut, sensor.ErrBus, err)
		}
		if err := o.clock.Sleep(context.Background(), 2*time.Millisecond); err != nil {
			return err
		}
	}
	return nil
}
