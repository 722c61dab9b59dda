package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"

	"nightjar/cmd/internal/config"
	"nightjar/sensor"
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
	sole   bool
}

// newRanger makes the driver of a chip.
func newRanger(chip string, bus i2c.Bus, address uint16, o rangerOpts) (sensor.Ranger, error) {
	switch chip {
	case "vl53l4cd":
		return made(vl53l4cd.New(bus, address, &vl53l4cd.Opts{Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Sole: o.sole}))
	case "vl53l1x":
		return made(vl53l1x.New(bus, address, &vl53l1x.Opts{Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Sole: o.sole}))
	case "vl53l0x":
		return made(vl53l0x.New(bus, address, &vl53l0x.Opts{Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Sole: o.sole}))
	case config.ChipKernel:
		return made(iio.Open("", &iio.Opts{Clock: o.clock, Every: o.budget}))
	case "vl6180x":
		return made(vl6180x.New(bus, address, &vl6180x.Opts{Clock: o.clock, Budget: o.budget, XSHUT: o.xshut, Sole: o.sole}))
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

// detectOrder is the order in which the drivers ask a chip who it is. The VL53L0X comes first: it has indices of one byte,
// and would take the second byte of the others' for a value to write.
var detectOrder = []string{"vl53l0x", "vl53l4cd", "vl53l1x", "vl6180x"}

// openRanger makes the driver of a chip, or of whichever chip answers where that is to be found out.
func openRanger(chip string, bus i2c.Bus, address uint16, o rangerOpts) (sensor.Ranger, error) {
	if chip != config.ChipAuto {
		return newRanger(chip, bus, address, o)
	}
	stranger, absent := false, error(nil)
	for _, c := range detectOrder {
		r, err := newRanger(c, bus, address, o)
		switch {
		case errors.Is(err, sensor.ErrIdentity):
			stranger = true
		case errors.Is(err, sensor.ErrAbsent): // perhaps only to questions of this form
			absent = err
		default:
			return r, err
		}
	}
	if !stranger {
		return nil, absent
	}
	return nil, fmt.Errorf("what answers at 0x%02x on %v is none of %s: %w", address, bus, strings.Join(detectOrder, ", "), sensor.ErrIdentity)
}
