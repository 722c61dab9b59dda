package ds18b20

import (
	"context"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"

	"nightjar/sensor"
	"nightjar/sensor/internal/sysfs"

	"periph.io/x/conn/v3/physic"
)

// Probe is one sensor of a Bus. It is safe for concurrent use; readings of one Probe take turns.
type Probe struct {
	bus  *Bus
	want string // the id asked for, "" for the only one

	mu   sync.Mutex
	call sysfs.Call[sample]

	// What follows is used by one reading at a time; id also by other probes, under bus.mu.
	id     string          // the sensor read last, or asked for
	seen   bool            // it was on the bus at least once
	beside map[string]bool // sensors that were on the bus together with it: none of them is its replacement
	judge  judge
}

// sample is what a reading came to.
type sample struct {
	was, id string
	milli   int
	err     error
}

// String names the probe: "DS18B20 28-0316a2795cff".
func (p *Probe) String() string {
	if id := p.ID(); id != "" {
		return "DS18B20 " + id
	}
	return "DS18B20"
}

// ID is the id of the sensor that was read last, or of the one asked for if none was; "" if neither is known.
func (p *Probe) ID() string {
	p.bus.mu.Lock()
	defer p.bus.mu.Unlock()
	return p.id
}

// Temperature implements sensor.Thermometer: it has the sensor measure and returns the result. ErrAbsent: not on the bus
// or no answer. ErrIdentity: several sensors, and none was named. ErrBus: no 1-wire bus. ErrTimeout: the kernel did not
// answer in time; the next call then returns at once for as long as that lasts. ErrBadValue: not to be believed. It returns the context's error if that ends first.
func (p *Probe) Temperature(ctx context.Context) (physic.Temperature, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, err := p.call.Do(ctx, p.bus.opts.Timeout, p.read)
	if err != nil {
		return 0, fmt.Errorf("%v: %w", p, err)
	}
	if s.err != nil {
		return 0, fmt.Errorf("%v: %w", p, s.err)
	}
	if s.was != s.id && s.was != "" && p.bus.opts.Replaced != nil {
		p.bus.opts.Replaced(s.was, s.id)
	}
	if s.was != s.id {
		p.judge = judge{}
	}
	if err := p.judge.admit(s.milli, p.bus.clock.Boot()); err != nil {
		return 0, fmt.Errorf("%v: %w", p, err)
	}
	return physic.ZeroCelsius + physic.Temperature(s.milli)*physic.MilliKelvin, nil
}

// read looks for the sensor and has it measure, twice if need be. It runs in a goroutine of its own.
func (p *Probe) read() sample {
	var s sample
	for try := range 2 {
		was := p.ID()
		id, err := p.resolve()
		if err != nil {
			return sample{err: err}
		}
		s = sample{was: was, id: id}
		if try == 0 {
			s.milli, s.err = p.bus.quick(id)
		} else {
			s.milli, s.err = p.bus.thorough(id)
		}
		if s.err == nil {
			p.bus.mu.Lock()
			p.id = id
			p.bus.mu.Unlock()
			return s
		}
	}
	return s
}

// resolve lists the bus anew and chooses the sensor to read.
func (p *Probe) resolve() (string, error) {
	present, err := p.bus.IDs()
	if err != nil {
		return "", err
	}
	if p.want != "" && slices.Contains(present, p.want) {
		p.seen = true
		for _, id := range present {
			p.beside[id] = true
		}
		return p.want, nil
	}
	free := p.bus.free(present, p)
	switch {
	case len(free) == 1 && (p.want == "" || p.seen):
		return free[0], nil
	case p.want == "" && len(free) > 1:
		return "", fmt.Errorf("several on the bus, name one: %s: %w", strings.Join(free, ", "), sensor.ErrIdentity)
	case len(present) == 0:
		return "", fmt.Errorf("no sensor on the 1-wire bus: check its plug: %w", sensor.ErrAbsent)
	}
	return "", fmt.Errorf("not on the 1-wire bus (there: %s): %w", strings.Join(present, ", "), sensor.ErrAbsent)
}

// quick reads the hwmon file, and looks closer where there is none or where its value is suspicious.
func (b *Bus) quick(id string) (int, error) {
	names, _ := fs.Glob(b.files, id+"/hwmon/hwmon*/temp1_input")
	if len(names) == 0 {
		return b.thorough(id)
	}
	text, err := sysfs.Read(b.files, names[0])
	if err != nil {
		return 0, err
	}
	milli, err := sysfs.Int(text)
	if err == nil && suspicious(milli) {
		return b.thorough(id)
	}
	return milli, err
}

// thorough reads the w1_slave file, which shows the scratchpad.
func (b *Bus) thorough(id string) (int, error) {
	text, err := sysfs.Read(b.files, id+"/w1_slave")
	if err != nil {
		return 0, err
	}
	pad, err := parseSlave(text)
	return pad.milli(), err
}

var _ sensor.Thermometer = (*Probe)(nil)
