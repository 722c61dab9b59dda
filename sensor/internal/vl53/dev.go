package vl53

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/register"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Dev is a chip of the family on a bus. It must not be used by two goroutines at once.
type Dev struct {
	*register.Dev
	model Model
	conf  Config
	home  uint16 // the address it is to have

	fresh bool  // it was reset and identified, nothing more
	ready bool  // its settings stand as in image
	image Block // what the settings read back as
	heat  heat

	burst   rise.Burster
	samples []rise.Sample
	block   [BlockLen]byte
	last    [BlockLen]byte
	check   [checkLen]byte
	back    [len(Block{})]byte

	// Method values, made once: making them in each burst would allocate.
	isReady func() (bool, error)
	collect func(Result) error
}

// heat is what is known of the chip's temperature: now, and when it was last calibrated to it.
type heat struct {
	now, then     physic.Temperature
	known, marked bool
}

// New finds the chip, resets it and checks its identity. Everything else is done by the first Range.
func New(b i2c.Bus, addr uint16, m Model, conf Config) (*Dev, error) {
	if conf.Clock == nil {
		return nil, errors.New(m.Name + " needs a clock")
	}
	if addr < 0x08 || addr > 0x77 {
		return nil, fmt.Errorf("address 0x%02x of %s: must be 0x08 to 0x77", addr, m.Name)
	}
	if err := conf.checkCalibration(); err != nil {
		return nil, fmt.Errorf("%s: %w", m.Name, err)
	}
	d := &Dev{Dev: register.Wide(b, addr, m.Name), model: m, conf: conf, home: addr}
	d.isReady, d.collect = d.askReady, d.keep
	return d, d.arrive(context.Background())
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

// Budget is the timing budget of a single range.
func (d *Dev) Budget() time.Duration { return d.conf.Budget }

// Precision is the step of the range register.
func (d *Dev) Precision() physic.Distance { return physic.MilliMetre }

// SetTemperature tells how warm it is at the chip. When that has moved by more than 8 °C since the last calibration, the
// next Range calibrates the chip anew (VL53L1X UM2510, VL53L4CD UM2931).
func (d *Dev) SetTemperature(t physic.Temperature) {
	d.heat.now, d.heat.known = t, true
	if !d.heat.marked {
		d.heat.then, d.heat.marked = t, true
	}
}

// Halt implements sensor.Ranger.
func (d *Dev) Halt() error {
	if !d.ready {
		return nil
	}
	return d.stop()
}

// Fail marks the chip's settings as not to be trusted, so that the next Range sets up everything anew.
func (d *Dev) fail() { d.ready, d.fresh = false, false }

// sleep waits on the injected clock.
func (d *Dev) sleep(ctx context.Context, t time.Duration) error { return d.conf.Clock.Sleep(ctx, t) }

// until calls done every step until it is true or fails, at most for the bound.
func (d *Dev) until(ctx context.Context, op string, step, bound time.Duration, done func() (bool, error)) error {
	end := d.conf.Clock.Boot() + bound
	for {
		ok, err := done()
		if ok || err != nil {
			return err
		}
		if d.conf.Clock.Boot() >= end {
			return d.Errorf(op, sensor.ErrTimeout, "not within %v", bound)
		}
		if err := d.sleep(ctx, step); err != nil {
			return err
		}
	}
}
