package sim

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"time"

	"nightjar/sensor"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// VL6180X is a simulated VL6180X (data sheet DocID026171 Rev 7, and the traffic of four public drivers).
//
// It models no answer for 1.4 ms after power or GPIO0, then the default address with 0x0016 = 1; the private settings, without
// which it says 32 mm for everything; single and continuous ranging, the start register that toggles; the time of
// convergence, which falls with the light that comes back; results raised after failed measurements, too; offset and crosstalk.
type VL6180X struct {
	supply
	scene Scene
	opts  ChipOpts
	rng   *rand.Rand

	regs [0x300]byte
	addr uint16

	on         bool // continuous
	busy       bool
	begun      time.Duration
	ready      bool
	next       sixShot // the measurement under way
	shots      int
	vhvC       float64
	spoil      func([]byte)
	frozen     bool
	noReady    bool
	calibrated int
}

// sixShot is a measurement of a VL6180X: what it will say and how long it takes.
type sixShot struct {
	shot
	code  byte
	takes time.Duration
	light time.Duration
}

// The registers that mean something to the simulated chip.
const (
	l6Model       = 0x0000
	l6Clear       = 0x0015
	l6Fresh       = 0x0016
	l6Start       = 0x0018
	l6Period      = 0x001B
	l6Convergence = 0x001C
	l6Crosstalk   = 0x001E
	l6Height      = 0x0021
	l6Early       = 0x0022
	l6Offset      = 0x0024
	l6Checks      = 0x002D
	l6Recalibrate = 0x002E
	l6Status      = 0x004D
	l6Ready       = 0x004F
	l6Result      = 0x0062
	l6Scaler      = 0x0096
	l6Averaging   = 0x010A
	l6Address     = 0x0212
)

// l6Factory is the offset that the factory left in the part, mm; invented, as in the recordings.
const l6Factory = 5

// l6Private is what tells that the private settings were written: all of them, but for two in which drivers differ.
var l6Private = map[int]byte{0x0207: 0x01, 0x0208: 0x01, 0x0096: 0x00, 0x0097: 0xFD, 0x00E5: 0x02, 0x00E6: 0x01, 0x00E7: 0x03,
	0x00F5: 0x02, 0x00D9: 0x05, 0x00DB: 0xCE, 0x00DC: 0x03, 0x00DD: 0xF8, 0x00A3: 0x3C, 0x00BB: 0x3C, 0x00B2: 0x09,
	0x00CA: 0x09, 0x0198: 0x01, 0x01B0: 0x17, 0x00FF: 0x05, 0x0100: 0x05, 0x0199: 0x05, 0x01A6: 0x1B, 0x01AC: 0x3E, 0x01A7: 0x1F}

// l6Optics: 2 mm of noise at most on grey 17 % at 50 mm; a black card (3 %) at 100 mm gives about 1.5 Mcps (data sheet).
var l6Optics = optics{perSPAD: 50, aim: 400, spads: 1, noise: 0.5}

// NewVL6180X returns a simulated VL6180X with power on, which sees a scene by a clock.
func NewVL6180X(clock sensor.Clock, scene Scene, opts ChipOpts) *VL6180X {
	c := &VL6180X{scene: scene, opts: opts, rng: opts.rng()}
	c.start(clock, 1400*time.Microsecond, c.powerOn)
	return c
}

// powerOn puts the registers to what they are after boot (data sheet, register table).
func (c *VL6180X) powerOn() {
	clear(c.regs[:])
	for reg, v := range map[int]byte{l6Model: 0xB4, l6Fresh: 1, l6Period: 0xFF, l6Convergence: 0x31, l6Height: 0x14, l6Offset: l6Factory,
		0x002C: 0xA0, l6Checks: 0x11, l6Status: 1, 0x0109: 0x01, l6Averaging: 0x30, l6Address: 0x29} {
		c.regs[reg] = v
	}
	c.addr, c.on, c.busy, c.ready = 0x29, false, false, false
	c.vhvC = c.scene.ChipC(c.clock.Boot())
}

// Answers implements Device.
func (c *VL6180X) Answers(addr uint16) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.awake() && addr == c.addr
}

// Tx implements Device: a two-byte index, then data to write from there on, or to read.
func (c *VL6180X) Tx(_ uint16, w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(w) < 2 {
		return ErrNACK
	}
	c.work()
	at := int(binary.BigEndian.Uint16(w))
	for i, v := range w[2:] {
		if reg := at + i; reg < len(c.regs) {
			c.write(reg, v)
		}
	}
	for i := range r {
		if reg := at + i; reg < len(c.regs) {
			r[i] = c.regs[reg]
		}
	}
	return nil
}

func (c *VL6180X) write(reg int, v byte) {
	switch reg {
	case l6Model, l6Status, l6Ready:
		return // read only
	case l6Start:
		c.run(v)
		return
	}
	c.regs[reg] = v
	switch reg {
	case l6Clear:
		if v&1 != 0 {
			c.ready = false
			c.regs[l6Ready] &^= 7
		}
	case l6Address:
		c.addr = uint16(v & 0x7F)
	case l6Recalibrate:
		if v&1 != 0 && !c.busy {
			c.vhvC = c.scene.ChipC(c.clock.Boot())
			c.calibrated++
		}
	}
}

// run starts a measurement or toggles continuous mode: bit 0 starts or stops, bit 1 is the mode.
func (c *VL6180X) run(v byte) {
	if v&1 == 0 {
		return
	}
	if c.on {
		c.on = false
		c.regs[l6Start] = 0
		return
	}
	if c.busy {
		return
	}
	c.on = v&2 != 0
	c.regs[l6Start] = v & 2
	c.begin(c.clock.Boot())
}

// begin begins a measurement.
func (c *VL6180X) begin(at time.Duration) {
	c.busy, c.begun = true, at
	c.regs[l6Status] = 0
	c.next = c.measure(at)
}

// work finishes the measurement under way if its time is over, and in continuous mode begins the next.
func (c *VL6180X) work() {
	for now := c.clock.Boot(); ; {
		if c.busy && now >= c.begun+c.next.takes && !c.noReady {
			c.finish()
		}
		period := time.Duration(int(c.regs[l6Period])+1) * 10 * time.Millisecond
		if !c.on || c.busy || now < c.begun+period {
			return
		}
		c.begin(c.begun + period)
	}
}

func (c *VL6180X) finish() {
	c.busy, c.ready = false, true
	c.regs[l6Ready] = c.regs[l6Ready]&^7 | 4
	c.regs[l6Status] |= 1
	if !c.frozen {
		c.result(c.next)
	}
}

// measure is what a measurement that begins now will say. Convergence takes 0.24 ms on white and 1.2 ms on grey 17 % at
// 50 mm (data sheet), and longer with the square of the distance.
func (c *VL6180X) measure(at time.Duration) sixShot {
	t, chipC := c.scene.Target(at), c.scene.ChipC(at)
	average := 1300*time.Microsecond + time.Duration(c.regs[l6Averaging])*64500*time.Nanosecond
	limit := max(0, time.Duration(c.regs[l6Convergence])*time.Millisecond-average)
	m := sixShot{shot: l6Optics.shoot(t, average, 1, c.rng), light: limit}
	if back := t.Reflect * math.Pow(50/max(t.DistanceMM, 10), 2); !t.None && back > 0 {
		m.light = min(limit, time.Duration(0.21/back*float64(time.Millisecond)))
	}
	m.takes = c.opts.late(3200*time.Microsecond + m.light + average)
	m.crossed(float64(binary.BigEndian.Uint16(c.regs[l6Crosstalk:]))/128, float64(c.regs[l6Height]))
	m.mm += c.opts.OffsetMM + c.opts.DriftMMPerC*(chipC-c.vhvC) + float64(int8(c.regs[l6Offset])) - l6Factory
	m.code = c.code(m, t, m.light >= limit)
	switch {
	case m.code == 12:
		m.mm = 0
	case m.code != 0:
		m.mm = 255
	case !c.private():
		m.mm = 32
	}
	return m
}

// crossed takes the stated crosstalk, Mcps, off, as the chip does above its valid height.
func (m *sixShot) crossed(mcps, height float64) {
	if m.mm > height {
		m.compensate(mcps / m.spads)
	}
}

// private reports whether the private settings stand.
func (c *VL6180X) private() bool {
	for reg, v := range l6Private {
		if c.regs[reg] != v {
			return false
		}
	}
	return true
}

// code is the chip's error code: 0 good, 6 and 7 no convergence, 11 too much light, 12 underflow, 15 overflow.
func (c *VL6180X) code(m sixShot, t Target, late bool) byte {
	switch {
	case late && c.regs[l6Checks]&1 != 0 && binary.BigEndian.Uint16(c.regs[l6Early:]) > 0:
		return 6
	case late:
		return 7
	case c.regs[l6Checks]&0x10 != 0 && m.ambient > 6.25*m.signal:
		return 11
	case m.mm < 0:
		return 12
	case m.mm > 200:
		return 15
	}
	return 0
}

// result fills in the result registers.
func (c *VL6180X) result(m sixShot) {
	c.shots++
	c.regs[l6Status] = m.code<<4 | 1
	block := c.regs[l6Result : l6Result+30]
	clear(block)
	block[0] = byte(min(max(math.Round(m.mm), 0), 255))
	us := max(1, m.light.Microseconds())
	binary.BigEndian.PutUint16(block[4:], uint16(min(math.Round(m.signal*128), 0xFFFF)))
	binary.BigEndian.PutUint16(block[6:], 0x0280)                                          // reference rate
	binary.BigEndian.PutUint32(block[10:], uint32(m.signal*float64(us))+uint32(c.shots%5)) // photons are never twice as many
	binary.BigEndian.PutUint32(block[18:], uint32(m.ambient*float64(us)/6))
	binary.BigEndian.PutUint32(block[26:], uint32(us))
	if c.spoil != nil {
		c.spoil(c.regs[l6Status : l6Result+30])
	}
}

// Interrupt is the chip's interrupt line as a pin to read: low while there is a result.
func (c *VL6180X) Interrupt() gpio.PinIO {
	return &linePin{Pin: gpiotest.Pin{N: "GPIO1"}, level: func() gpio.Level {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.work()
		return gpio.Level(!c.ready)
	}}
}

// Spoil lets f change each result as it is measured: the bytes from register 0x004D to 0x007F. A nil f ends it.
func (c *VL6180X) Spoil(f func(block []byte)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.spoil = f
}

// Freeze makes the chip repeat its last result and say that it is ready, until it is called with false.
func (c *VL6180X) Freeze(on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.frozen = on
}

// Deafen keeps the chip from ever being ready, until it is called with false.
func (c *VL6180X) Deafen(on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.noReady = on
}

// Register is the value of a register, for tests.
func (c *VL6180X) Register(reg uint16) byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.work()
	return c.regs[reg]
}

var _ Device = (*VL6180X)(nil)
