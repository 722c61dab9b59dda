package sensor

import (
	"fmt"

	"periph.io/x/conn/v3/gpio"
)

// HoldInReset pulls the reset lines (XSHUT) of rangers low. Where several share a bus, call it once with all their lines
// before the first driver is made: every ranger wakes at the same address, so each must be alone when its driver lets it go
// and moves it. It returns ErrBus for a line that cannot be driven.
func HoldInReset(lines ...gpio.PinOut) error {
	for _, line := range lines {
		if err := line.Out(gpio.Low); err != nil {
			return fmt.Errorf("hold a ranger in reset by %s: %w: %w", line.Name(), ErrBus, err)
		}
	}
	return nil
}
