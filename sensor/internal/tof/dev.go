package tof

import (
	"context"
	"errors"
	"fmt"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/register"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// DefaultAddr is where a chip answers after power-up and after XSHUT.
const DefaultAddr = 0x29

// maxDrift is how far the temperature may move before a chip has to calibrate itself anew (VL53L0X data sheet DS11555).
const maxDrift = 8 * physic.Kelvin

// Config is what the options of all chips come down to, checked.
type Config struct {
	Clock  sensor.Clock
	Budget time.Duration
	// SpreadMM is the standard deviation of a burst's good ranges beyond which none of them counts as good, mm; 0 for a chip
	// that estimates the noise of each range itself.
	SpreadMM  float64
	XSHUT     gpio.PinOut
	Interrupt gpio.PinIn
	Sole      bool
}

// Ops is how things are done on a given chip. All but Shot, Calibrate, Skip and Counted must be set.
type Ops struct {
	// Identify checks who answers. It must not write to a stranger.
	Identify func() error
	// Reset brings the chip, which answers and is who it should be, back to reset settings without a line, or as near to
	// them as the chip allows. It leaves the address.
	Reset func(ctx context.Context) error
	// Booted reports whether the chip has booted.
	Booted func() (bool, error)
	// Move gives the chip another address.
	Move func(addr byte) error
	// SetUp writes all settings to a chip that was just reset, and checks that they arrived.
	SetUp func(ctx context.Context) error
	// Intact reports whether the settings still stand.
	Intact func() (bool, error)
	// Calibrate has the chip calibrate itself to its temperature while it stands still; nil if it does so by itself.
	Calibrate func(ctx context.Context) error
	// Start and Stop begin and end a burst. Shot, if not nil, starts each range of it.
	Start, Stop, Shot func() error
	// Ready reports whether there is a result. ReadyHigh is the level of the interrupt line then.
	Ready     func() (bool, error)
	ReadyHigh gpio.Level
	// Take reads a result into Block and clears it.
	Take func() error
	// Skip is how many results after a start are dropped. Counted tells that each result carries a number, so that none is like
	// the one before.
	Skip    int
	Counted bool
	// Block is the last result as the chip gave it, Sample what it means.
	Block  []byte
	Sample func() Result
}

// Result is a decoded result.
type Result struct {
	rise.Sample
	// SPADs is how many receivers were in use; 0 where the chip does not tell.
	SPADs float64
}

// Dev is a chip on a bus. It must not be used by two goroutines at once.
type Dev struct {
	*register.Dev
	Ops
	conf Config
	home uint16 // the address it is to have

	fresh bool // it was reset and identified, nothing more
	ready bool // its settings stand
	heat  heat

	burst   rise.Burster
	samples []rise.Sample
	doubter Doubter
	last    []byte // the last result
	alike   int    // how many in a row were like it
}

// heat is what is known of the chip's temperature: now, and when it was last calibrated to it.
type heat struct {
	now, then     physic.Temperature
	known, marked bool
}

// Make makes a Dev that has not looked for its chip yet: Arrive does. Two steps, because Ops mostly need the Dev.
func Make(r *register.Dev, ops Ops, conf Config) (*Dev, error) {
	if conf.Clock == nil {
		return nil, errors.New("a clock is needed")
	}
	if r.Addr() < 0x08 || r.Addr() > 0x77 {
		return nil, fmt.Errorf("address of %v: must be 0x08 to 0x77", r)
	}
	return &Dev{Dev: r, Ops: ops, conf: conf, home: r.Addr(), last: make([]byte, len(ops.Block))}, nil
}

// Budget is the time that a single range takes.
func (d *Dev) Budget() time.Duration { return d.conf.Budget }

// Precision is the step of the range register.
func (d *Dev) Precision() physic.Distance { return physic.MilliMetre }

// SetTemperature tells how warm it is at the chip. When that has moved by more than 8 °C since the last calibration, the
// next Range calibrates a chip anew that does not do so by itself.
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
	return d.Stop()
}

// fail marks the chip's settings as not to be trusted, so that the next Range sets up everything anew.
func (d *Dev) fail() { d.ready, d.fresh = false, false }

// Sleep waits on the injected clock.
func (d *Dev) Sleep(ctx context.Context, t time.Duration) error { return d.conf.Clock.Sleep(ctx, t) }

// Until calls done every step until it is true or fails, at most for the bound; then it returns ErrTimeout.
func (d *Dev) Until(ctx context.Context, op string, step, bound time.Duration, done func() (bool, error)) error {
	end := d.conf.Clock.Boot() + bound
	for {
		ok, err := done()
		if ok || err != nil {
			return err
		}
		if d.conf.Clock.Boot() >= end {
			return d.Errorf(op, sensor.ErrTimeout, "not within %v", bound)
		}
		if err := d.Sleep(ctx, step); err != nil {
			return err
		}
	}
}
