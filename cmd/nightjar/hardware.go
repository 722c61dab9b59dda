package main

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"

	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/watch"
	"nightjar/sensor"
	"nightjar/sensor/ambient"
	"nightjar/sensor/ds18b20"
	"nightjar/sensor/gpioline"
	"nightjar/sensor/i2cbus"
	"nightjar/sensor/mux"
	"nightjar/sensor/recovery"
)

// hardware opens what the stations of a configuration are read with. Buses and multiplexers are shared; nothing has to
// be there yet.
type hardware struct {
	clock sensor.Clock
	buses map[int]*i2cbus.Bus
	muxes map[muxPlace]*mux.Mux
	wire  *ds18b20.Bus
}

type muxPlace struct {
	bus     int
	address uint16
}

func newHardware(clock sensor.Clock) *hardware {
	return &hardware{clock: clock, buses: map[int]*i2cbus.Bus{}, muxes: map[muxPlace]*mux.Mux{}, wire: ds18b20.Open(clock, nil)}
}

// close closes the buses.
func (h *hardware) close() error {
	var errs []error
	for _, b := range h.buses {
		errs = append(errs, b.Close())
	}
	return errors.Join(errs...)
}

// stations makes the configured stations.
func (h *hardware) stations(configured []config.Station) ([]watch.Station, error) {
	// The rangers that have to be told apart by their reset lines are held in reset until it is their turn.
	lines, err := resetLines(configured)
	if err != nil {
		return nil, err
	}
	var stations []watch.Station
	for _, c := range configured {
		s, err := h.station(c, lines[c.XSHUT], sole(c, configured))
		if err != nil {
			return nil, fmt.Errorf("station %s: %w", c.Name, err)
		}
		stations = append(stations, s)
	}
	return stations, nil
}

// resetLines opens the reset lines and holds them low.
func resetLines(configured []config.Station) (map[string]gpio.PinOut, error) {
	lines := map[string]gpio.PinOut{}
	for _, c := range configured {
		if c.XSHUT == "" {
			continue
		}
		pin, err := gpioline.Open(c.XSHUT)
		if err != nil {
			return nil, fmt.Errorf("station %s: xshut: %w", c.Name, err)
		}
		lines[c.XSHUT] = pin
	}
	return lines, sensor.HoldInReset(slices.Collect(maps.Values(lines))...)
}

// interruptLine opens an interrupt line as an input. The chips pull it down, open drain. It is nil for no line.
func interruptLine(name string) (gpio.PinIn, error) {
	if name == "" {
		return nil, nil
	}
	pin, err := gpioline.Open(name)
	if err != nil {
		return nil, fmt.Errorf("interrupt: %w", err)
	}
	if err := pin.In(gpio.PullUp, gpio.NoEdge); err != nil {
		return nil, fmt.Errorf("interrupt: set up %s as an input: %w: %w", name, sensor.ErrBus, err)
	}
	return pin, nil
}

// sole reports whether no other station's ranger is on the same bus or channel.
func sole(c config.Station, all []config.Station) bool {
	n := 0
	for _, o := range all {
		if o.Bus == c.Bus && o.Mux == c.Mux {
			n++
		}
	}
	return n == 1
}

func (h *hardware) station(c config.Station, xshut gpio.PinOut, sole bool) (watch.Station, error) {
	bus, err := h.bus(c)
	if err != nil {
		return watch.Station{}, err
	}
	interrupt, err := interruptLine(c.Interrupt)
	if err != nil {
		return watch.Station{}, err
	}
	o := rangerOpts{clock: h.clock, budget: c.Budget, xshut: xshut, interrupt: interrupt, window: c.Window, sole: sole}
	name := fmt.Sprintf("%s at 0x%02x on %v", strings.ToUpper(c.Chip), c.Address, bus)
	s := watch.Station{Name: c.Name, Every: c.Every, Ranges: c.Ranges, Ranger: recovery.New(name, func() (sensor.Ranger, error) {
		return openRanger(c.Chip, bus, c.Address, o)
	})}
	var bad [3]error
	s.Jar, bad[0] = h.probe(c.JarProbe)
	s.Dough, bad[1] = h.probe(c.DoughProbe)
	if !strings.HasPrefix(c.RoomProbe, "28-") && c.RoomProbe != config.ProbeNone {
		room := ambient.Open(c.RoomProbe)
		s.Room, s.Humidity = room, room
		return s, errors.Join(bad[:]...)
	}
	s.Room, bad[2] = h.probe(c.RoomProbe)
	return s, errors.Join(bad[:]...)
}

// bus is the bus of a station, or the channel of its multiplexer.
func (h *hardware) bus(c config.Station) (i2c.Bus, error) {
	b := h.buses[c.Bus]
	if b == nil {
		b = i2cbus.New(c.Bus)
		h.buses[c.Bus] = b
	}
	if c.Mux.Address == 0 {
		return b, nil
	}
	place := muxPlace{c.Bus, c.Mux.Address}
	m := h.muxes[place]
	if m == nil {
		var err error
		if m, err = mux.New(b, c.Mux.Address); err != nil {
			return nil, err
		}
		h.muxes[place] = m
	}
	return m.Channel(c.Mux.Channel)
}

// probe is the thermometer of an id, nil for none.
func (h *hardware) probe(id string) (sensor.Thermometer, error) {
	switch id {
	case config.ProbeNone:
		return nil, nil
	case config.ProbeAuto:
		id = ""
	}
	p, err := h.wire.Probe(id)
	if err != nil {
		return nil, err
	}
	return p, nil
}
