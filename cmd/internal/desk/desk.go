package desk

import (
	"crypto/rand"
	"sync"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/config"
	"nightjar/rise"
	"nightjar/sensor"
)

// Live is what a running daemon knows beyond the store.
type Live interface {
	// Changed tells that something was done that bears on a station, so that its curve is computed again.
	Changed(station string)
	// Status is how a station stands; false if there is no such station.
	Status(station string) (api.StationStatus, bool)
	// Health lists what is wrong now.
	Health() []api.Health
}

// Desk answers what people ask and does what they do. Its methods are safe for concurrent use. All fields but Live,
// Wake and Sensors must be set, and none changed after the first call.
type Desk struct {
	Store Store
	// Live is the daemon; nil where a command opened the store itself.
	Live Live
	// Wake tells whether some route has been shown to reach a person, and if not why; nil is never.
	Wake func() (bool, string)
	// Sensors lends the distance sensors to a calibration where Live does not; nil is nobody.
	Sensors Burster
	// Clock tells the time of what is done.
	Clock sensor.Clock
	// Device is the device's name, Version the program's.
	Device, Version string
	// Stations are the configured ones, in order; Alerts is how the baker is told.
	Stations []config.Station
	Alerts   config.Alerts

	// mu makes checking and doing one step.
	mu sync.Mutex
}

// Version answers what answers.
func (d *Desk) About() api.Version {
	return api.Version{Version: d.Version, Device: d.Device, Live: d.Live != nil}
}

// now is this moment as a stamp and as wall time.
func (d *Desk) now() rise.Moment {
	s := rise.Stamp{Boot: d.Store.Boot(), At: d.Clock.Boot()}
	wall, quality := d.Store.Timeline().Wall(s)
	if quality == rise.TimeUnknown {
		wall = d.Clock.Wall()
	}
	return rise.Moment{Stamp: s, Wall: wall.UTC().Truncate(time.Millisecond)}
}

// canWake tells whether an alert reaches a person, and if not why.
func (d *Desk) canWake() (bool, string) {
	if d.Live == nil {
		return false, "nightjar is not running: start the service, or nightjar watch"
	}
	if d.Wake == nil {
		return false, "no route has been shown to reach a person"
	}
	return d.Wake()
}

// newID names an action whose caller did not.
func newID() string { return rand.Text() }

// station is the configuration of a station.
func (d *Desk) station(name string) (config.Station, bool) {
	for _, s := range d.Stations {
		if s.Name == name {
			return s, true
		}
	}
	return config.Station{}, false
}
