package sensor

import (
	"context"
	"sync"

	"periph.io/x/conn/v3/physic"
)

// TemperatureAware is what a Ranger may be besides: one that calibrates itself anew when it has become much warmer or
// colder.
type TemperatureAware interface {
	// SetTemperature tells how warm it is at the chip, as well as is known: by the nearest probe. It does not touch the
	// bus; the next Range does what is needed.
	SetTemperature(physic.Temperature)
}

// Calibrator is what a Ranger may be besides: one whose range can be corrected for its own error and for what a window
// throws back. What is found holds until the chip is made anew; give it as an option then.
type Calibrator interface {
	// CalibrateOffset takes n ranges of a target at a true distance, mm, and returns the offset that makes them right, mm.
	CalibrateOffset(ctx context.Context, trueMM float64, n int) (float64, error)
	// CalibrateCrosstalk takes n ranges of a target at a true distance, mm, far enough to read short, and returns the crosstalk
	// that makes them right, in the unit of the chip's option.
	CalibrateCrosstalk(ctx context.Context, trueMM float64, n int) (float64, error)
}

// SharedBus is what an i2c.Bus may be besides: one on which several rangers come up at the same address, so that they have
// to do so one after another. Drivers that are told of a reset line hold the lock from pulling it low until their chip has
// its own address. They never block on the lock but try it now and then on their own clock.
type SharedBus interface {
	Arrivals() *sync.Mutex
}
