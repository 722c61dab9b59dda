package sim

import (
	"math/rand/v2"
	"sync"
	"time"

	"nightjar/sensor"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// ChipOpts says how one simulated chip differs from the perfect one. The zero value is a chip with noise.
type ChipOpts struct {
	// Seed starts the noise.
	Seed uint64
	// Quiet switches the noise off.
	Quiet bool
	// OffsetMM is the part's own error of range, mm, the same at every distance.
	OffsetMM float64
	// DriftMMPerC is how the range moves with the chip's temperature since its last calibration of it, mm/°C; about 0.1
	// by the data sheets.
	DriftMMPerC float64
	// Slow makes the chip's clock late: 0.03 is 3 % late.
	Slow float64
}

// rng is the chip's source of noise, nil if there is none.
func (o ChipOpts) rng() *rand.Rand {
	if o.Quiet {
		return nil
	}
	return rand.New(rand.NewPCG(o.Seed, 0x6e696768746a6172))
}

// late is a time of the chip as the clock outside sees it.
func (o ChipOpts) late(d time.Duration) time.Duration {
	return time.Duration(float64(d) * (1 + o.Slow))
}

// supply is the power of a simulated chip and its reset line: what is common to all of them. Its lock guards the whole
// chip.
type supply struct {
	mu    sync.Mutex
	clock sensor.Clock
	boot  time.Duration // how long the chip takes to boot
	reset func()        // puts every register back to what it is after boot

	unplugged, held bool
	since           time.Duration // when it last got power and was let go
}

// start powers the chip up long ago.
func (s *supply) start(clock sensor.Clock, boot time.Duration, reset func()) {
	s.clock, s.boot, s.reset = clock, boot, reset
	s.since = clock.Boot() - time.Hour
	reset()
}

// awake reports whether the chip has power, is not held in reset and has booted. It is called with the lock held.
func (s *supply) awake() bool {
	return !s.unplugged && !s.held && s.clock.Boot()-s.since >= s.boot
}

// set changes the power or the reset line. A chip that had neither trouble before and after keeps its registers.
func (s *supply) set(unplugged, held bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	was := s.unplugged || s.held
	s.unplugged, s.held = unplugged, held
	if was && !unplugged && !held {
		s.since = s.clock.Boot()
		s.reset()
	}
}

// Unplug takes the chip's power.
func (s *supply) Unplug() { s.set(true, s.isHeld()) }

// Plug gives it back: the chip boots with reset registers at its default address.
func (s *supply) Plug() { s.set(false, s.isHeld()) }

// Brownout is a short dip of the supply: the chip forgets everything, boots, and answers at its default address.
func (s *supply) Brownout() {
	s.Unplug()
	s.Plug()
}

// BootedBy dates the last power-up back to a time since boot, for one that is told late.
func (s *supply) BootedBy(at time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.since = min(s.since, at)
}

func (s *supply) isHeld() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.held
}

// XSHUT is the chip's reset line: low holds it in reset, high lets it boot. It begins high, as with the pull-up of a
// breakout.
func (s *supply) XSHUT() gpio.PinIO {
	return &resetPin{chip: s, Pin: gpiotest.Pin{N: "XSHUT", L: gpio.High}}
}

// resetPin is a gpio.PinIO that holds a chip in reset while it is low.
type resetPin struct {
	gpiotest.Pin
	chip *supply
}

// Out implements gpio.PinOut.
func (p *resetPin) Out(l gpio.Level) error {
	if err := p.Pin.Out(l); err != nil {
		return err
	}
	p.chip.mu.Lock()
	unplugged := p.chip.unplugged
	p.chip.mu.Unlock()
	p.chip.set(unplugged, l == gpio.Low)
	return nil
}

// linePin is a gpio.PinIO that reads a line of a chip.
type linePin struct {
	gpiotest.Pin
	level func() gpio.Level
}

// Read implements gpio.PinIn.
func (p *linePin) Read() gpio.Level { return p.level() }
