package scenario

import (
	"bytes"
	_ "embed"
	"fmt"
	"time"

	"nightjar/sensor/sim/dough"
)

// Scenario is a night as written down.
type Scenario struct {
	// Name is the dough's name.
	Name string
	// Seed starts all noise.
	Seed uint64
	// Start is the wall time at which the night begins, Length how long it lasts; at its end everything stands still.
	Start  time.Time
	Length time.Duration
	// Target is the multiple at which the bulk fermentation is to end.
	Target float64
	// Room holds the corners of the room's climate, in order; straight lines between them.
	Room []Climate
	// SwingC and Period are the thermostat's swing, ± °C, and its period.
	SwingC float64
	Period time.Duration
	// RoomSensor is a chip that measures the room's temperature and humidity, as a driver of the kernel calls it; "" is none.
	RoomSensor string
	// Setups are the stations, Faults what goes wrong.
	Setups []Setup
	Faults []Fault
}

// Climate is the room's temperature, °C, and relative humidity, %, at a moment.
type Climate struct {
	At    time.Duration
	C, RH float64
}

// Setup is a station as it is built.
type Setup struct {
	Name string
	// Chip is one that Chips lists.
	Chip string
	// Bus is the number of the I²C bus; Mux the multiplexer's address on it and Channel its channel, 0 for none; Address the chip's.
	Bus     int
	Mux     uint16
	Channel int
	Address uint16
	// JarProbe, DoughProbe and RoomProbe are ids of DS18B20 sensors; "" is none. Stations may share the room's.
	JarProbe, DoughProbe, RoomProbe string
	// OldKernel has the 1-wire files of a kernel before 5.8.
	OldKernel bool

	Jar   Jar
	Dough dough.Params
	// Mixed is when the dough is mixed and its sample put into the jar.
	Mixed time.Duration
	Optics
}

// Jar is the glass of a station.
type Jar struct {
	Name string
	// FloorMM is the true distance from the ranger to the inside of the floor. People believe it to be FloorMM + ErrorMM,
	// with the standard uncertainty UFloorMM.
	FloorMM, ErrorMM, UFloorMM float64
	DiameterMM                 float64
}

// Optics is how well a station's ranger sees.
type Optics struct {
	// Reflect is the share of the light that the dough throws back, AmbientMcps the stray light in the room.
	Reflect, AmbientMcps float64
	// WallMM is how much nearer the walls make the jar's floor seem; the error falls with the square of the distance.
	WallMM float64
	// OffsetMM is the chip's own error, DriftMMPerC its drift with temperature.
	OffsetMM, DriftMMPerC float64
	// Quiet switches the noise off.
	Quiet bool
}

// Fault is something that goes wrong.
type Fault struct {
	// At is when it begins, For how long it lasts.
	At, For time.Duration
	// Kind is one that Kinds lists.
	Kind string
	// Station is whose; "" is the only one's.
	Station string
	// Probe is jar, dough or room for faults of a probe.
	Probe string
	// MM is a distance or a displacement, mm; Mcps a rate of light. What it means and its default depends on the kind.
	MM, Mcps float64
}

//go:embed kitchen.toml
var kitchen []byte

// Default is the scenario that the demo shows.
func Default() Scenario {
	s, err := Load(bytes.NewReader(kitchen))
	if err != nil {
		panic(fmt.Sprintf("scenario: the built-in scenario is wrong: %v", err)) // a test loads it
	}
	return s
}

// defaultSetup is a station of which nothing is said.
func defaultSetup() Setup {
	return Setup{
		Name: "main", Chip: "vl53l4cd", Bus: 1, Address: 0x29, Dough: dough.Default(),
		Jar:    Jar{Name: "glass", FloorMM: 150, UFloorMM: 0.5, DiameterMM: 60},
		Optics: Optics{Reflect: 0.7, AmbientMcps: 0.1, DriftMMPerC: 0.1},
	}
}

// roomAt is the room's climate at a moment.
func (s Scenario) roomAt(at time.Duration) Climate {
	c := s.corner(at)
	c.At = at
	if s.Period > 0 {
		c.C += s.SwingC * swing(at, s.Period)
	}
	return c
}

// corner interpolates between the corners, and keeps to the first and the last one outside.
func (s Scenario) corner(at time.Duration) Climate {
	before := s.Room[0]
	for _, r := range s.Room {
		if r.At <= at {
			before = r
			continue
		}
		if at <= before.At {
			return before
		}
		share := float64(at-before.At) / float64(r.At-before.At)
		return Climate{C: before.C + share*(r.C-before.C), RH: before.RH + share*(r.RH-before.RH)}
	}
	return before
}
