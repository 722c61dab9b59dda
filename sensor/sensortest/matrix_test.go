package sensortest_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/recovery"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l0x"
	"nightjar/sensor/vl53l1x"
	"nightjar/sensor/vl53l4cd"
	"nightjar/sensor/vl6180x"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
)

// station is a chip that a station may have, with its driver.
type station struct {
	name string
	chip func(*sim.Clock, sim.Scene, sim.ChipOpts) chip
	open func(i2c.Bus, uint16, sensor.Clock, gpio.PinOut) (sensor.Ranger, error)
}

// chips are all of them.
var chips = []station{
	{"VL53L4CD", func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL53L4CD(c, s, o) },
		func(b i2c.Bus, addr uint16, c sensor.Clock, x gpio.PinOut) (sensor.Ranger, error) {
			return vl53l4cd.New(b, addr, &vl53l4cd.Opts{Clock: c, XSHUT: x})
		}},
	{"VL53L1X", func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL53L1X(c, s, o) },
		func(b i2c.Bus, addr uint16, c sensor.Clock, x gpio.PinOut) (sensor.Ranger, error) {
			return vl53l1x.New(b, addr, &vl53l1x.Opts{Clock: c, XSHUT: x})
		}},
	{"VL53L0X", func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL53L0X(c, s, o) },
		func(b i2c.Bus, addr uint16, c sensor.Clock, x gpio.PinOut) (sensor.Ranger, error) {
			return vl53l0x.New(b, addr, &vl53l0x.Opts{Clock: c, XSHUT: x})
		}},
	{"VL6180X", func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) chip { return sim.NewVL6180X(c, s, o) },
		func(b i2c.Bus, addr uint16, c sensor.Clock, x gpio.PinOut) (sensor.Ranger, error) {
			return vl6180x.New(b, addr, &vl6180x.Opts{Clock: c, XSHUT: x})
		}},
}

// chip is a simulated chip with a reset line.
type chip interface {
	sensortest.Chip
	XSHUT() gpio.PinIO
}

// night is one station for the length of one fault.
type night struct {
	clock *sim.Clock
	bus   *sim.Bus
	chip  chip
	view  *sim.Target

	ranger sensor.Ranger
}

// newNight makes a station with its driver behind what keeps a ranger going: at the default address, or moved to another
// by the reset line.
func newNight(c station, addr uint16, seed uint64) *night {
	n := &night{clock: sim.NewClock(time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC), time.Minute),
		view: &sim.Target{DistanceMM: 80, Reflect: 0.8, AmbientMcps: 0.1}}
	n.chip = c.chip(n.clock, sim.Moving{View: func(time.Duration) sim.Target { return *n.view }}, sim.ChipOpts{Seed: seed})
	n.bus = sim.NewBus("I2C1", n.chip)
	var reset gpio.PinOut
	if addr != 0x29 {
		reset = n.chip.XSHUT()
	}
	n.ranger = recovery.New(c.name, func() (sensor.Ranger, error) { return c.open(n.bus, addr, n.clock, reset) })
	return n
}

// tick takes one burst. No range is ever wrong.
func (n *night) tick(t *testing.T) (rise.Burst, error) {
	t.Helper()
	require.NoError(t, n.clock.Sleep(t.Context(), 30*time.Second))
	b, err := n.ranger.Range(t.Context(), 20)
	if mm, ok := b.RangeMM.Get(); ok {
		require.NoError(t, err)
		// Four standard deviations of the mean, where few ranges of a burst were good.
		noise := 4 * b.SpreadMM.Or(0) / math.Sqrt(float64(b.Valid))
		require.InDelta(t, n.view.DistanceMM, mm, max(1.5, noise), "a wrong range")
	}
	return b, err
}

// isBack fails unless there is a good burst within three ticks.
func (n *night) isBack(t *testing.T) {
	t.Helper()
	var b rise.Burst
	var err error
	for range 3 {
		if b, err = n.tick(t); err == nil && b.Valid >= 19 {
			break
		}
	}
	require.NoError(t, err)
	assert.GreaterOrEqual(t, b.Valid, 19, "back within three ticks")
}

// faults are what may befall a station. begin makes the fault and returns what ends it.
var faults = []struct {
	name string
	// bad tells that no good range may come while the fault lasts; otherwise they may, as far as they are right.
	bad   bool
	begin func(n *night) (end func())
}{
	{"loose cable", true, func(n *night) func() {
		return n.bus.Inject(sim.FailWhile(func() bool { return true }, sim.ErrNACK))
	}},
	{"every third transfer lost", false, func(n *night) func() {
		i := 0
		return n.bus.Inject(sim.FailWhile(func() bool { i++; return i%3 == 0 }, sim.ErrNACK))
	}},
	{"line held low", true, func(n *night) func() {
		return n.bus.Inject(sim.FailWhile(func() bool { return true }, sim.ErrHeld))
	}},
	{"noise on the bus", false, func(n *night) func() {
		reads := 0
		return n.bus.Inject(sim.Fault{After: func(t *sim.Transfer) {
			if len(t.R) == 0 {
				return
			}
			if reads++; reads%40 == 0 {
				t.R[reads/40%len(t.R)] ^= 1 << (reads / 40 * 5 % 8)
			}
		}})
	}},
	{"reads return old memory", true, func(n *night) func() { return n.bus.Inject(sim.FreezeReads()) }},
	{"unplugged", true, func(n *night) func() { n.chip.Unplug(); return n.chip.Plug }},
	{"brown-out", false, func(n *night) func() { n.chip.Brownout(); return func() {} }},
	{"brown-out in every tick", false, func(n *night) func() {
		var last, began time.Duration
		return n.bus.Inject(sim.FailWhile(func() bool {
			now := n.clock.Boot()
			if now-last > 20*time.Second {
				began = now
			}
			last = now
			if began != 0 && now-began > 700*time.Millisecond {
				began = 0
				n.chip.Brownout()
			}
			return false
		}, nil))
	}},
	{"never ready", true, func(n *night) func() { n.chip.Deafen(true); return func() { n.chip.Deafen(false) } }},
	{"repeats itself", true, func(n *night) func() { n.chip.Freeze(true); return func() { n.chip.Freeze(false) } }},
	{"nothing in view", true, func(n *night) func() { n.view.None = true; return func() { n.view.None = false } }},
	{"direct light", false, func(n *night) func() { n.view.AmbientMcps = 20; return func() { n.view.AmbientMcps = 0.1 } }},
}

// TestEveryChipSurvivesEveryFault: ten ticks with a fault between good ones, behind what keeps a ranger going. No
// range is wrong at any time, the station is back within three ticks, and nothing is left behind.
func TestEveryChipSurvivesEveryFault(t *testing.T) {
	before := goleak.IgnoreCurrent()
	for _, c := range chips {
		for _, f := range faults {
			for _, addr := range []uint16{0x29, 0x31} {
				name := c.name + "/" + f.name
				if addr != 0x29 {
					name += "/own address"
				}
				t.Run(name, func(t *testing.T) {
					n := newNight(c, addr, 1)
					for range 5 {
						b, err := n.tick(t)
						require.NoError(t, err)
						require.GreaterOrEqual(t, b.Valid, 19)
					}
					end := f.begin(n)
					for range 10 {
						if b, _ := n.tick(t); f.bad {
							assert.Zero(t, b.Valid)
						}
					}
					end()
					n.isBack(t)
				})
			}
		}
	}
	goleak.VerifyNone(t, before)
}

// TestChipsSurviveWhatComesTogether: up to three faults at a time, each for some ticks, begun and ended at random while the
// target comes nearer. With the build tag slow it goes on for longer. The seed is in the name of the test.
func TestChipsSurviveWhatComesTogether(t *testing.T) {
	nights := uint64(3)
	if everyNight {
		nights = 100
	}
	for _, c := range chips {
		for seed := range nights {
			t.Run(fmt.Sprintf("%s/%d", c.name, seed), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(seed, 1))
				n := newNight(c, []uint16{0x29, 0x31}[rng.IntN(2)], seed)
				on := map[int]func(){}
				for range 150 {
					if i := rng.IntN(4 * len(faults)); i < len(faults) && on[i] == nil && len(on) < 3 {
						on[i] = faults[i].begin(n)
					}
					for _, i := range slices.Sorted(maps.Keys(on)) {
						if rng.IntN(5) == 0 {
							on[i]()
							delete(on, i)
						}
					}
					n.view.DistanceMM -= 0.2
					_, _ = n.tick(t)
				}
				for _, end := range on {
					end()
				}
				n.isBack(t)
			})
		}
	}
}
