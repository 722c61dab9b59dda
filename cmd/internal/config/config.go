package config

import (
	"time"

	"nightjar/notify/bell"
	"nightjar/notify/discovery"
)

// Config is a checked configuration.
type Config struct {
	Device   Device
	Store    Store
	MQTT     MQTT
	Web      Web
	Alerts   Alerts
	Stations []Station
	Pushes   []Push
}

// Device is this machine.
type Device struct {
	// Name is the device's name in topics and alert ids: lower-case letters, digits, "-" and "_".
	Name string
}

// Store is where readings are kept and how often they are written.
type Store struct {
	// Path is the store's file; empty is nightjar.db in the state directory.
	Path string
	// FlushRun is the longest time that readings wait in memory during a run, FlushIdle while no run is open.
	FlushRun, FlushIdle time.Duration
}

// MQTT is the broker that alerts and states are published to.
type MQTT struct {
	// Broker is the broker's address, mqtt://HOST[:PORT] or mqtts://HOST[:PORT]; empty is the embedded one.
	Broker string
	// Listen is the loopback address on which the embedded broker listens.
	Listen string
	// User and PasswordFile sign in at the broker; empty is no sign-in.
	User, PasswordFile string
	// CAFile holds the certificates, PEM, that an mqtts broker must be signed by; empty is the system's. CertFile and
	// KeyFile are what this device shows to a broker that asks for a certificate.
	CAFile, CertFile, KeyFile string
	// UsersFile holds the users of the embedded broker; empty lets everybody on this machine in, and nobody else.
	UsersFile string
	// Discovery is the prefix under which stations are announced to a home automation; empty announces none.
	Discovery string
	// KeepAlive is how often the connection is probed.
	KeepAlive time.Duration
}

// Web is what the commands talk to.
type Web struct {
	// Socket is the unix socket's path; empty is nightjar.sock in the runtime directory.
	Socket string
}

// Alerts is how the baker is told.
type Alerts struct {
	// Soon is how long before the likely time of the target the soon alert comes.
	Soon time.Duration
	// Repeat is the time between two rings of an alert that wakes, Rings the most rings of one.
	Repeat time.Duration
	Rings  int
	// QuietFrom and QuietTo bound the hours in which only what wakes is told, on the machine's clock; equal is none.
	// Bedtime is when the bedtime message is sent.
	QuietFrom, QuietTo, Bedtime bell.Hour
	// Buzzer is the GPIO line of a buzzer that rings where there is no network; empty is none.
	Buzzer string
}

// Policy is when people are woken.
func (a Alerts) Policy() bell.Policy {
	p := bell.Default()
	p.Every, p.Rings = a.Repeat, a.Rings
	p.QuietFrom, p.QuietTo, p.Bedtime = a.QuietFrom, a.QuietTo, a.Bedtime
	return p
}

// Station is one watched place.
type Station struct {
	// Name is the station's name in topics and commands: lower-case letters, digits, "-" and "_".
	Name string
	// Chip is one of Chips.
	Chip string
	// Bus is the number of the I2C bus: /dev/i2c-N.
	Bus int
	// Mux is the multiplexer and channel before the ranger; its zero value is none.
	Mux Mux
	// Address is the ranger's 7-bit I2C address.
	Address uint16
	// XSHUT is the GPIO line wired to the ranger's reset, such as GPIO17; empty is none.
	XSHUT string
	// Interrupt is the GPIO line wired to the ranger's interrupt; empty is none. Window says that a cover glass lies above it.
	Interrupt string
	Window    bool
	// Ranges is the number of single ranges in a burst, Budget the time for each, Every the time between two ticks.
	Ranges        int
	Budget, Every time.Duration
	// JarProbe, DoughProbe and RoomProbe are the ids of thermometers, such as 28-0316a2794c5b; ProbeAuto is the one
	// thermometer found on the 1-wire bus, ProbeNone is none.
	// RoomProbe may also be a sensor that a driver of the kernel has, by its name there, such as sht4x.
	JarProbe, DoughProbe, RoomProbe string
}

// Mux is a channel of a TCA9548A-like I2C multiplexer.
type Mux struct {
	// Address is the multiplexer's own 7-bit I2C address; 0 is no multiplexer.
	Address uint16
	// Channel is 0 to 7.
	Channel int
}

// Push is a place that alerts are posted to over HTTP.
type Push struct {
	// Name tells it from others in messages and in the store.
	Name string
	// URL is where to post: http or https.
	URL string
	// Format is one of push.Presets; Body and Headers are templates that replace parts of it, Topic is handed to them.
	Format, Body, Topic string
	Headers             map[string]string
	// TokenFile holds a bearer token, CAFile the certificates that the service must be signed by; empty is none and the
	// system's.
	TokenFile, CAFile string
}

// Values of keys that are words.
const (
	// ChipAuto detects the chip by its identity registers.
	ChipAuto = "auto"
	// ChipKernel is a distance sensor that a driver of the kernel has (IIO); its bus and address mean nothing.
	ChipKernel = "iio"
	ProbeAuto  = "auto"
	ProbeNone  = "none"
)

// DefaultAddress is where every supported ranger answers after power-up (VL53L0X, VL53L1X, VL53L4CD and VL6180X data
// sheets).
const DefaultAddress = 0x29

// Chips lists the values that a station's chip may have.
var Chips = []string{ChipAuto, "vl53l0x", "vl53l1x", "vl53l4cd", "vl6180x", ChipKernel}

// Default is the configuration of an empty file.
func Default() Config {
	return Config{
		Device:   Device{Name: "nightjar"},
		Store:    Store{FlushRun: 2 * time.Minute, FlushIdle: 10 * time.Minute},
		MQTT:     MQTT{Listen: "127.0.0.1:1883", Discovery: discovery.DefaultPrefix, KeepAlive: 30 * time.Second},
		Alerts:   defaultAlerts(),
		Stations: []Station{defaultStation()},
	}
}

func defaultAlerts() Alerts {
	p := bell.Default()
	return Alerts{Soon: time.Hour, Repeat: p.Every, Rings: p.Rings, QuietFrom: p.QuietFrom, QuietTo: p.QuietTo, Bedtime: p.Bedtime}
}

func defaultStation() Station {
	return Station{
		Name: "main", Chip: ChipAuto, Bus: 1, Address: DefaultAddress,
		Ranges: 20, Budget: 50 * time.Millisecond, Every: 30 * time.Second,
		JarProbe: ProbeAuto, DoughProbe: ProbeNone, RoomProbe: ProbeNone,
	}
}
