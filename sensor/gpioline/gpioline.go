// Package gpioline opens a line of the machine's GPIO pins by its name, for a ranger's reset or interrupt.
//
// It uses periph's drivers for the kernel's GPIO character devices alone, by way of periph's registry, and not
// periph's host.Init, whose drivers for particular boards look into memory and do not know the newer ones.
//
// # Traps
//
// The lines are looked for once in the life of a process. On a Raspberry Pi they are named GPIO2 to GPIO27, by the
// numbers of the chip and not of the header's pins.
package gpioline

import (
	"errors"
	"fmt"
	"sync"

	"nightjar/sensor"

	"periph.io/x/conn/v3/driver/driverreg"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	_ "periph.io/x/host/v3/gpioioctl" // registers the driver of /dev/gpiochip*
)

// find looks for the machine's lines, once.
var find = sync.OnceValue(func() error {
	state, err := driverreg.Init()
	if err != nil {
		return err
	}
	for _, f := range append(state.Skipped, state.Failed...) {
		if f.D.String() == "ioctl-gpio" {
			return f.Err
		}
	}
	return nil
})

// Open returns the line with a name such as GPIO17. It is not set to any direction yet.
func Open(name string) (gpio.PinIO, error) {
	err := find()
	if p := gpioreg.ByName(name); p != nil {
		return p, nil
	}
	if err == nil {
		err = errors.New("the machine's GPIO chips have no line of that name, or may not be opened")
	}
	return nil, fmt.Errorf("open GPIO line %s: %w: %w", name, sensor.ErrBus, err)
}
