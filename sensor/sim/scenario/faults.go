package scenario

import (
	"maps"
	"math"
	"slices"
	"time"

	"nightjar/sensor/sim"

	"periph.io/x/conn/v3/gpio"
)

// kind is a kind of fault: what it does and its defaults. Exactly one of view, bus, chip and wire is set.
type kind struct {
	mm, mcps float64 // defaults
	lasting  bool    // needs to last for some time
	view     func(f Fault, j Jar, at time.Duration, t *sim.Target)
	bus      func(f Fault, on func() bool, addr uint16) sim.Fault
	chip     func(c chip, on bool)
	wire     sim.WireFault
}

// chip is what faults need of a simulated chip.
type chip interface {
	sim.Device
	Unplug()
	Plug()
	Brownout()
	BootedBy(at time.Duration)
	Freeze(on bool)
	Deafen(on bool)
	XSHUT() gpio.PinIO
	Interrupt() gpio.PinIO
}

// kinds are the kinds of fault by name. What mm and mcps mean stands beside each.
var kinds = map[string]kind{
	// A hand in view, mm from the ranger.
	"hand": {mm: 60, lasting: true, view: func(f Fault, _ Jar, at time.Duration, t *sim.Target) {
		wave := 8 * math.Sin(float64(at-f.At)/float64(1700*time.Millisecond))
		*t = sim.Target{DistanceMM: f.MM + wave, Reflect: 0.9, AmbientMcps: t.AmbientMcps, CrosstalkMcps: t.CrosstalkMcps}
	}},
	// A lid or a cloth on the jar, mm from the ranger.
	"lid": {mm: 20, lasting: true, view: func(f Fault, _ Jar, _ time.Duration, t *sim.Target) { t.DistanceMM, t.Reflect = f.MM, 0.8 }},
	// The jar is taken away and put back: meanwhile there is the shelf, mm below the jar's floor.
	"away": {mm: 4, lasting: true, view: func(f Fault, j Jar, _ time.Duration, t *sim.Target) {
		t.DistanceMM, t.Reflect = j.FloorMM+f.MM, 0.5
	}},
	// The ranger's arm moves, mm up, for good if it has no for.
	"bump": {mm: 1.5, view: func(f Fault, _ Jar, _ time.Duration, t *sim.Target) { t.DistanceMM += f.MM }},
	// A bubble lifts the surface by mm in the end, and bursts.
	"blister": {mm: 6, lasting: true, view: func(f Fault, _ Jar, at time.Duration, t *sim.Target) {
		t.DistanceMM -= f.MM * float64(at-f.At) / float64(f.For)
	}},
	// Fog on the window grows to mcps of light thrown back, and clears at once at the end.
	"fog": {mcps: 20, lasting: true, view: func(f Fault, _ Jar, at time.Duration, t *sim.Target) {
		t.CrosstalkMcps += f.Mcps * float64(at-f.At) / float64(f.For)
	}},
	// Direct light adds mcps of stray light.
	"light": {mcps: 8, lasting: true, view: func(f Fault, _ Jar, _ time.Duration, t *sim.Target) { t.AmbientMcps += f.Mcps }},
	// Reflections from the walls pull the range by mm.
	"walls": {mm: 3, lasting: true, view: func(f Fault, _ Jar, _ time.Duration, t *sim.Target) { t.DistanceMM -= f.MM }},
	// Nothing at all in view.
	"blind": {lasting: true, view: func(_ Fault, _ Jar, _ time.Duration, t *sim.Target) { t.None = true }},

	// The chip does not acknowledge: a loose cable that still feeds it.
	"nack": {lasting: true, bus: func(_ Fault, on func() bool, addr uint16) sim.Fault {
		return sim.Fault{Before: func(t *sim.Transfer) error {
			if t.Addr == addr && on() {
				return sim.ErrNACK
			}
			return nil
		}}
	}},
	// A line of the bus is held low.
	"held": {lasting: true, bus: func(_ Fault, on func() bool, _ uint16) sim.Fault { return sim.FailWhile(on, sim.ErrHeld) }},
	// Every 40th read has one bit wrong.
	"noise": {lasting: true, bus: func(_ Fault, on func() bool, addr uint16) sim.Fault {
		n := 0
		return sim.Fault{After: func(t *sim.Transfer) {
			if t.Addr != addr || len(t.R) == 0 || !on() {
				return
			}
			if n++; n%40 == 0 {
				bit := n / 40 * 7 % (8 * len(t.R))
				t.R[bit/8] ^= 0x80 >> (bit % 8)
			}
		}}
	}},
	// The supply dips: the chip forgets everything and answers at its default address.
	"brownout": {chip: func(c chip, on bool) {
		if on {
			c.Brownout()
		}
	}},
	// The chip is unplugged.
	"unplugged": {lasting: true, chip: func(c chip, on bool) {
		if on {
			c.Unplug()
		} else {
			c.Plug()
		}
	}},
	// Data-ready stays away.
	"never_ready": {lasting: true, chip: func(c chip, on bool) { c.Deafen(on) }},
	// The chip repeats its last result.
	"repeats": {lasting: true, chip: func(c chip, on bool) { c.Freeze(on) }},

	"probe_unplugged": {lasting: true, wire: sim.WireUnplugged},
	"probe_floating":  {lasting: true, wire: sim.WireFloating},
	"probe_shorted":   {lasting: true, wire: sim.WireShorted},
	"probe_noise":     {lasting: true, wire: sim.WireNoise},
	"probe_power_on":  {lasting: true, wire: sim.WirePowerOn},
	"probe_starved":   {lasting: true, wire: sim.WireStarved},
	"probe_silent":    {lasting: true, wire: sim.WireSilent},
}

// Kinds lists the kinds of fault.
func Kinds() []string { return slices.Sorted(maps.Keys(kinds)) }

// holds reports whether the fault is on at a moment. One without an end goes on for ever.
func (f Fault) holds(at time.Duration) bool {
	return at >= f.At && (f.For == 0 || at < f.At+f.For)
}
