package scenario

import (
	"cmp"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"nightjar/sensor/mux"
	"nightjar/sensor/sim"

	"periph.io/x/conn/v3/i2c"
)

// World is a built scenario.
type World struct {
	Scenario
	// Buses are the I²C buses by number.
	Buses map[int]*sim.Bus
	// Probes is the folder of 1-wire devices, as a file system; Probes.Dir is its place.
	Probes *sim.OneWire
	// Sys is a folder like /sys as a file system, with the room's sensor in it if there is one.
	Sys *sim.Files
	// Stations are in the scenario's order.
	Stations []*Station

	clock  *sim.Clock
	origin time.Duration
	muxes  map[muxKey]*sim.TCA9548A

	drivers map[muxKey]*mux.Mux

	mu     sync.Mutex
	events []event // what is still to come, in order
}

// event is something done to a chip at a moment.
type event struct {
	at time.Duration
	do func()
}

// Build makes the night on a clock, with its files below dir. The scenario's start is where the clock's wall time says
// that it is: a clock set to a later time finds the night under way, with what happened to the chips until then left out. Step the
// wall clock only after Build.
func (s Scenario) Build(clock *sim.Clock, dir string) (*World, error) {
	if err := s.Check(); err != nil {
		return nil, fmt.Errorf("scenario: %w", err)
	}
	w := &World{Scenario: s, Buses: map[int]*sim.Bus{}, muxes: map[muxKey]*sim.TCA9548A{}, drivers: map[muxKey]*mux.Mux{}, clock: clock}
	w.origin = clock.Boot() - clock.Wall().Sub(s.Start)
	var err error
	if w.Probes, err = sim.NewOneWire(filepath.Join(dir, "w1"), clock); err != nil {
		return nil, err
	}
	if err := w.furnish(dir); err != nil {
		return nil, err
	}
	for i, u := range s.Setups {
		if err := w.add(u, s.Seed+uint64(i)); err != nil {
			return nil, err
		}
	}
	w.schedule()
	return w, nil
}

// furnish makes the kernel's files, with the room's sensor in them.
func (w *World) furnish(dir string) error {
	var err error
	if w.Sys, err = sim.NewFiles(filepath.Join(dir, "sys"), w.clock); err != nil || w.RoomSensor == "" {
		return err
	}
	room := func(boot time.Duration) Climate { return w.roomAt(min(boot-w.origin, w.Length)) }
	return w.Sys.HWMonClimate("class/hwmon/hwmon0", w.RoomSensor,
		func(boot time.Duration) float64 { return room(boot).C }, func(boot time.Duration) float64 { return room(boot).RH })
}

// add builds a station: its ranger on its bus and its probes.
func (w *World) add(u Setup, seed uint64) error {
	st := w.newStation(u, w.origin)
	opts := sim.ChipOpts{Seed: seed, Quiet: u.Quiet, OffsetMM: u.OffsetMM, DriftMMPerC: u.DriftMMPerC}
	st.chip = chips[u.Chip](w.clock, st, opts)
	st.XSHUT, st.Interrupt = st.chip.XSHUT(), st.chip.Interrupt()
	st.bus = w.bus(u.Bus)
	if u.Mux != 0 {
		st.bus = w.mux(u.Bus, u.Mux).Channel(u.Channel)
	}
	st.bus.Attach(st.chip)
	w.Stations = append(w.Stations, st)
	return w.plug(st)
}

// chips makes the chips by name.
var chips = map[string]func(*sim.Clock, sim.Scene, sim.ChipOpts) chip{
	"vl53l4cd": func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL53L4CD(c, s, o) },
	"vl53l1x":  func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL53L1X(c, s, o) },
	"vl53l0x":  func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL53L0X(c, s, o) },
	"vl6180x":  func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL6180X(c, s, o) },
}

// Chips lists the rangers that a station may have.
func Chips() []string { return slices.Sorted(maps.Keys(chips)) }

// muxKey is a multiplexer's place.
type muxKey struct {
	bus  int
	addr uint16
}

// mux returns the multiplexer at an address of a bus, new if need be.
func (w *World) mux(bus int, addr uint16) *sim.TCA9548A {
	key := muxKey{bus, addr}
	m, ok := w.muxes[key]
	if !ok {
		m = sim.NewTCA9548A(addr)
		w.bus(bus).Attach(m)
		w.muxes[key] = m
	}
	return m
}

// bus returns the bus with a number, new if need be. Before each transfer it lets happen what is due.
func (w *World) bus(n int) *sim.Bus {
	b, ok := w.Buses[n]
	if !ok {
		b = sim.NewBus(fmt.Sprintf("I2C%d", n))
		b.Inject(sim.Fault{Before: func(*sim.Transfer) error { w.catchUp(); return nil }})
		w.Buses[n] = b
	}
	return b
}

// plug connects a station's probes.
func (w *World) plug(st *Station) error {
	kernel := sim.NewKernel
	if st.OldKernel {
		kernel = sim.OldKernel
	}
	temps := map[string]func(Truth) float64{
		"jar":   func(t Truth) float64 { return t.SampleC },
		"dough": func(t Truth) float64 { return t.MainC },
		"room":  func(t Truth) float64 { return t.RoomC },
	}
	for place, of := range temps {
		id := st.probe(place)
		if id == "" {
			continue
		}
		temp := func(boot time.Duration) float64 { return of(st.True(boot - w.origin)) }
		if err := w.Probes.Plug(id, kernel, temp, w.wireFault(id)); err != nil {
			return err
		}
	}
	return nil
}

// wireFault is what is wrong with the probe of an id at a time since boot.
func (w *World) wireFault(id string) func(boot time.Duration) sim.WireFault {
	var own []Fault
	for _, f := range w.Faults {
		if u, err := w.setup(f.Station); err == nil && kinds[f.Kind].wire != 0 && u.probe(f.Probe) == id {
			own = append(own, f)
		}
	}
	return func(boot time.Duration) sim.WireFault {
		for _, f := range own {
			if f.holds(boot - w.origin) {
				return kinds[f.Kind].wire
			}
		}
		return sim.WireGood
	}
}

// schedule hands the faults of buses to them and lines up those of chips. What lies in the past is left out.
func (w *World) schedule() {
	for _, f := range w.Faults {
		k := kinds[f.Kind]
		st := w.stationOf(f)
		if k.bus != nil {
			on := func() bool { return f.holds(w.Elapsed()) }
			st.bus.Inject(k.bus(f, on, st.Address))
		}
		if k.chip != nil {
			w.line(f.At, st, func() { k.chip(st.chip, true) })
			w.line(f.At+f.For, st, func() { k.chip(st.chip, false) })
		}
	}
	slices.SortStableFunc(w.events, func(a, b event) int { return cmp.Compare(a.at, b.at) })
}

// line lines up something done to a station's chip. It is done late, at the next transfer; a chip that it makes boot has booted since.
func (w *World) line(at time.Duration, st *Station, do func()) {
	if at < w.Elapsed() {
		return
	}
	w.events = append(w.events, event{at, func() {
		do()
		st.chip.BootedBy(w.origin + at)
	}})
}

// stationOf is the station that a fault befalls.
func (w *World) stationOf(f Fault) *Station {
	for _, st := range w.Stations {
		if st.Name == f.Station || f.Station == "" && len(w.Stations) == 1 {
			return st
		}
	}
	return nil
}

// catchUp does what has become due.
func (w *World) catchUp() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for now := w.Elapsed(); len(w.events) > 0 && w.events[0].at <= now; w.events = w.events[1:] {
		w.events[0].do()
	}
}

// Open returns a station's bus as a driver is given it: the bus itself, or the channel of its multiplexer by that one's
// real driver.
func (w *World) Open(st *Station) (i2c.Bus, error) {
	if st.Mux == 0 {
		return w.Buses[st.Bus], nil
	}
	key := muxKey{st.Bus, st.Mux}
	if w.drivers[key] == nil {
		m, err := mux.New(w.Buses[st.Bus], st.Mux)
		if err != nil {
			return nil, err
		}
		w.drivers[key] = m
	}
	return w.drivers[key].Channel(st.Channel)
}

// Elapsed is the time since the scenario's start.
func (w *World) Elapsed() time.Duration { return w.clock.Boot() - w.origin }

// Station finds a station by its name; nil if there is none.
func (w *World) Station(name string) *Station {
	i := slices.IndexFunc(w.Stations, func(s *Station) bool { return s.Name == name })
	if i < 0 {
		return nil
	}
	return w.Stations[i]
}

// BusNumbers lists the buses.
func (w *World) BusNumbers() []int { return slices.Sorted(maps.Keys(w.Buses)) }
