// Package recovery keeps a ranger going that is not there yet, or fails again and again.
//
// # Concepts
//
// A driver sets its chip up anew by itself after an error: through XSHUT where that is wired, by the chip's reset
// register where it is not; and package i2cbus opens a bus again that fails. What is left, and done here, is a driver
// that cannot even be made because nothing answers yet, and patience: a ranger that failed thrice in a row is tried at
// every second, then at every third call of Range only. So a bus that hangs for a second in every transfer does not
// hang the loop all the time, and a station is back within three ticks of the cause going away.
//
// Nothing is logged here: the same error comes back at every tick, and whoever ticks tells a person when it changes.
package recovery

import (
	"context"
	"errors"
	"fmt"

	"nightjar/rise"
	"nightjar/sensor"

	"periph.io/x/conn/v3/physic"
)

// Open makes a ranger's driver. It finds its chip.
type Open func() (sensor.Ranger, error)

const (
	// spared is how many failures in a row are tried again at the next call.
	spared = 2
	// restMost is the most calls of Range in a row that are answered without trying.
	restMost = 2
)

// Ranger is a sensor.Ranger that does not need its chip to be there. It must not be used by two goroutines at once.
type Ranger struct {
	name   string
	open   Open
	dev    sensor.Ranger // nil until it could be made
	failed int           // failures in a row
	rest   int           // calls still to be answered without trying
	last   error         // the newest failure
	warmth *physic.Temperature
}

// New returns a ranger that makes its driver when it is first asked for a range. The name stands for it until then:
// "VL53L4CD at 0x29 on bus 1".
func New(name string, open Open) *Ranger { return &Ranger{name: name, open: open} }

// String is the driver's name, or the one given while there is none.
func (r *Ranger) String() string {
	if r.dev != nil {
		return r.dev.String()
	}
	return r.name
}

// Range implements sensor.Ranger. While it rests it returns the newest failure again.
func (r *Ranger) Range(ctx context.Context, n int) (rise.Burst, error) {
	if r.rest > 0 && ctx.Err() == nil {
		r.rest--
		return rise.Burst{}, r.last
	}
	var b rise.Burst
	err := r.ensure()
	if err == nil {
		b, err = r.dev.Range(ctx, n)
	}
	switch {
	case err == nil:
		r.failed, r.last = 0, nil
	case ctx.Err() == nil:
		r.failed++
		r.last = err
		r.rest = min(max(r.failed-spared, 0), restMost)
	}
	return b, err
}

// ensure makes the driver if there is none.
func (r *Ranger) ensure() error {
	if r.dev != nil {
		return nil
	}
	dev, err := r.open()
	if err != nil {
		return err
	}
	r.dev = dev
	if t, ok := dev.(sensor.TemperatureAware); ok && r.warmth != nil {
		t.SetTemperature(*r.warmth)
	}
	return nil
}

// Halt implements sensor.Ranger.
func (r *Ranger) Halt() error {
	if r.dev == nil {
		return nil
	}
	return r.dev.Halt()
}

// SetTemperature implements sensor.TemperatureAware. A driver that is made later is told too.
func (r *Ranger) SetTemperature(t physic.Temperature) {
	r.warmth = &t
	if dev, ok := r.dev.(sensor.TemperatureAware); ok {
		dev.SetTemperature(t)
	}
}

// CalibrateOffset implements sensor.Calibrator. It is errors.ErrUnsupported for a ranger that cannot be calibrated.
func (r *Ranger) CalibrateOffset(ctx context.Context, trueMM float64, n int) (float64, error) {
	c, err := r.calibrator()
	if err != nil {
		return 0, err
	}
	return c.CalibrateOffset(ctx, trueMM, n)
}

// CalibrateCrosstalk implements sensor.Calibrator. It is errors.ErrUnsupported for a ranger that cannot be calibrated.
func (r *Ranger) CalibrateCrosstalk(ctx context.Context, trueMM float64, n int) (float64, error) {
	c, err := r.calibrator()
	if err != nil {
		return 0, err
	}
	return c.CalibrateCrosstalk(ctx, trueMM, n)
}

func (r *Ranger) calibrator() (sensor.Calibrator, error) {
	if err := r.ensure(); err != nil {
		return nil, err
	}
	c, ok := r.dev.(sensor.Calibrator)
	if !ok {
		return nil, fmt.Errorf("calibrate %v: %w", r, errors.ErrUnsupported)
	}
	return c, nil
}

var (
	_ sensor.Ranger           = (*Ranger)(nil)
	_ sensor.TemperatureAware = (*Ranger)(nil)
	_ sensor.Calibrator       = (*Ranger)(nil)
)
