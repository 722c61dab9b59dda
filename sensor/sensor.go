// Package sensor declares what a station is read with: a Ranger that looks down on the sample, a Thermometer for each
// probe, and the Clock that drivers and the daemon's loop take their time from.
//
// Each chip has a folder of its own below this one; sensor/sim holds simulated chips, a simulated kitchen and a
// simulated clock, which the real drivers run against in tests and in the demo.
//
// # Traps
//
// A driver takes a bus, it does not own it: Halt puts the chip to rest and leaves the bus open. Every wait on a chip
// ends with the context or after a bound, whichever comes first. An error is classed by what to do about it: match it
// with errors.Is against the sentinels below.
package sensor

import (
	"context"
	"errors"
	"time"

	"nightjar/rise"

	"periph.io/x/conn/v3/physic"
)

// Ranger measures the distance to the sample's surface.
type Ranger interface {
	// String names the chip and where it is, for people: "VL53L4CD at 0x29".
	String() string
	// Range takes n single ranges and returns their summary. A burst in which no range was good is no error: its Valid
	// is 0 and Statuses says why. An error means that the chip could not be read; it wraps one of this package's
	// sentinels. Range initialises the chip when it has to. It must not be called from two goroutines at once.
	Range(ctx context.Context, n int) (rise.Burst, error)
	// Halt stops ranging and puts the chip to rest. Range may be called again afterwards.
	Halt() error
}

// Thermometer measures one temperature.
type Thermometer interface {
	String() string
	// Temperature returns the newest temperature. It wraps one of this package's sentinels if there is none to trust.
	Temperature(ctx context.Context) (physic.Temperature, error)
}

// Hygrometer measures the relative humidity of the room.
type Hygrometer interface {
	String() string
	// Humidity returns the newest relative humidity. It wraps one of this package's sentinels if there is none to trust.
	Humidity(ctx context.Context) (physic.RelativeHumidity, error)
}

// Clock is the only clock of drivers and of the daemon's loop.
type Clock interface {
	// Wall is the wall clock, UTC; it may be wrong and may step.
	Wall() time.Time
	// Boot is the time since the machine booted, suspend included (CLOCK_BOOTTIME); it never steps.
	Boot() time.Duration
	// Sleep waits for d or until ctx ends, and then returns ctx's error.
	Sleep(ctx context.Context, d time.Duration) error
}

// The errors of reading a chip or a probe, by what can be done about them.
var (
	// ErrBus: the bus cannot be opened or does not move at all. Reopen it; a person may have to enable it.
	ErrBus = errors.New("bus fault")
	// ErrAbsent: nothing answers there. Check the cable; try again.
	ErrAbsent = errors.New("no answer")
	// ErrIdentity: something else answers there. A person must change the configuration.
	ErrIdentity = errors.New("another chip answers")
	// ErrTimeout: it answers but was not ready in time. Initialise it again.
	ErrTimeout = errors.New("not ready in time")
	// ErrHardware: it reports a fault of its own, or forgot its settings. Initialise it again.
	ErrHardware = errors.New("chip fault")
	// ErrStuck: it repeats itself bit for bit. Initialise it again.
	ErrStuck = errors.New("repeats itself")
	// ErrBadValue: it answered with something that cannot be true (checksum, power-on value, beyond its range). Skip
	// this reading.
	ErrBadValue = errors.New("value refused")
)

// Fault is the rise.Fault that stands in a reading for err: none for nil.
func Fault(err error) rise.Fault {
	switch {
	case err == nil:
		return rise.FaultNone
	case errors.Is(err, ErrIdentity):
		return rise.FaultIdentity
	case errors.Is(err, ErrAbsent):
		return rise.FaultAbsent
	case errors.Is(err, ErrTimeout):
		return rise.FaultTimeout
	case errors.Is(err, ErrStuck):
		return rise.FaultStuck
	case errors.Is(err, ErrHardware):
		return rise.FaultHardware
	}
	return rise.FaultBus
}
