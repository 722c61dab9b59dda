package main

import (
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"nightjar/sensor"
	"nightjar/sensor/vl53l4cd"
)

// newRanger makes the driver of a chip.
func newRanger(chip string, bus i2c.Bus, address uint16, clock sensor.Clock) (sensor.Ranger, error) {
	switch chip {
	case "vl53l4cd":
		return vl53l4cd.New(bus, address, &vl53l4cd.Opts{Clock: clock})
	}
	return nil, fmt.Errorf("no driver for chip %q", chip)
}
