package sim

import (
	"encoding/binary"
	"math"
	"math/bits"
	"math/rand/v2"
	"time"

	"nightjar/sensor"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// VL53L0X is a simulated VL53L0X (data sheet DS11555 Rev 6, and the traffic of three public drivers).
//
// It models the pages of registers; no answer for 1.2 ms after power or XSHUT, then the default address with reset
// registers, 0x51 being 0099; the soft reset; the memory behind its strobe; the two calibrations; single and back-to-back
// ranging that takes the time in the timeout registers; results that stand until they are cleared; offset, crosstalk and a
// drift with temperature that a calibration removes.
type VL53L0X struct {
	supply
	scene Scene
	opts  ChipOpts
	rng   *rand.Rand

	regs   [8][256]byte
	page   byte
	addr   uint16
	halted bool // in reset by its register
	strobe int  // reads of the strobe since it was set

	mode    zeroMode
	begun   time.Duration
	ready   bool
	vhv     bool // calibrated since reset
	phase   bool
	vhvC    float64
	photons int
	spoil   func([]byte)
	frozen  bool
	noReady bool
}

// zeroMode is what the chip is doing.
type zeroMode int

const (
	zeroIdle zeroMode = iota
	zeroVHV
	zeroPhase
	zeroSingle
	zeroOn
)

// The registers that mean something to the simulated chip. Those without a page are on page 0.
const (
	l0Start       = 0x00
	l0Sequence    = 0x01
	l0Clear       = 0x0B
	l0Ready       = 0x13
	l0Result      = 0x14
	l0Crosstalk   = 0x20
	l0Offset      = 0x28
	l0Limit       = 0x44
	l0MSRC        = 0x46
	l0PrePeriod   = 0x50
	l0Pre         = 0x51
	l0FinalPeriod = 0x70
	l0Final       = 0x71
	l0Address     = 0x8A
	l0SPADs       = 0xB0
	l0Reset       = 0xBF
	l0Model       = 0xC0
	l0Page        = 0xFF
	l0Stop        = 0x91 // page 1
	l0Rate        = 0xB6 // page 1
	l0Strobe      = 0x83 // page 7
	l0Select      = 0x94 // page 7
	l0Memory      = 0x92 // page 7
)

// l0Reset holds the registers' values after boot as far as known, {page, register, value}: identity and 0x51 from the
// data sheet; the others as the recordings have them, partly invented (the stop variable, the reference receivers).
var l0Defaults = [][3]byte{
	{0, l0Model, 0xEE}, {0, 0xC1, 0xAA}, {0, 0xC2, 0x10}, {0, 0x52, 0x99}, {0, l0PrePeriod, 0x06}, {0, l0FinalPeriod, 0x04},
	{0, l0MSRC, 0x25}, {0, l0Final, 0x01}, {0, l0Final + 1, 0xFE}, {0, l0Address, 0x29}, {0, 0x84, 0x10}, {0, 0xF9, 0x26},
	{0, l0SPADs, 0xFF}, {0, 0xB1, 0xFF}, {0, 0xB2, 0x1F}, {0, 0xB3, 0xFF}, {0, 0xB4, 0xFF}, {0, 0xB5, 0x0F},
	{0, l0Sequence, 0xF8}, {1, l0Stop, 0x3C}, {7, l0Memory, 0x85},
}

// l0Optics: white to about 1200 mm at 33 ms; 4 % of noise there (data sheet), some 2 mm near.
var l0Optics = optics{perSPAD: 0.3, aim: 20, spads: 256, noise: 2.2}

// NewVL53L0X returns a simulated VL53L0X with power on, which sees a scene by a clock.
func NewVL53L0X(clock sensor.Clock, scene Scene, opts ChipOpts) *VL53L0X {
	c := &VL53L0X{scene: scene, opts: opts, rng: opts.rng()}
	c.start(clock, 1200*time.Microsecond, c.powerOn)
	return c
}

func (c *VL53L0X) powerOn() {
	c.regs = [8][256]byte{}
	for _, d := range l0Defaults {
		c.regs[d[0]][d[1]] = d[2]
	}
	c.page, c.addr, c.mode, c.ready, c.halted, c.vhv, c.phase = 0, 0x29, zeroIdle, false, false, false, false
	c.vhvC = c.scene.ChipC(c.clock.Boot())
}

// Answers implements Device.
func (c *VL53L0X) Answers(addr uint16) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.awake() && addr == c.addr
}

// Tx implements Device: a one-byte index, then data to write from there on, or to read.
func (c *VL53L0X) Tx(_ uint16, w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(w) < 1 {
		return ErrNACK
	}
	c.work()
	at := w[0]
	for i, v := range w[1:] {
		c.write(at+byte(i), v)
	}
	for i := range r {
		r[i] = c.read(at + byte(i))
	}
	return nil
}

func (c *VL53L0X) read(reg byte) byte {
	switch {
	case reg == l0Page:
		return c.page
	case c.halted && c.page == 0 && reg >= l0Model && reg < l0Model+3:
		return 0
	case c.page == 0 && reg == l0Ready:
		if c.ready {
			return 0x04
		}
		return 0
	case c.page == 1 && reg == l0Rate || c.page == 1 && reg == l0Rate+1:
		return byte(c.reference() >> (8 * (l0Rate + 1 - uint(reg))))
	case c.page == 7 && reg == l0Strobe && c.strobe > 0:
		if c.strobe++; c.strobe > 2 {
			return 0x10
		}
	}
	return c.regs[c.page][reg]
}

// reference is the signal of the reference receivers, 9.7 Mcps: 4.5 Mcps for each that is switched on.
func (c *VL53L0X) reference() uint16 {
	n := 0
	for _, b := range c.regs[0][l0SPADs : l0SPADs+6] {
		n += bits.OnesCount8(b)
	}
	return uint16(n * 576)
}

func (c *VL53L0X) write(reg, v byte) {
	if reg == l0Page {
		c.page = v & 7
		return
	}
	if c.page == 0 && reg >= l0Model && reg < l0Model+3 {
		return // read only
	}
	c.regs[c.page][reg] = v
	switch c.page {
	case 0:
		c.command(reg, v)
	case 7:
		if reg == l0Strobe && v == 0 && c.regs[7][l0Select] != 0 {
			c.strobe = 1
		}
	}
}

// command does what a register of page 0 commands.
func (c *VL53L0X) command(reg, v byte) {
	switch reg {
	case l0Start:
		c.run(v)
	case l0Clear:
		if v&1 != 0 {
			c.clear()
		}
	case l0Address:
		c.addr = uint16(v & 0x7F)
	case l0Reset:
		addr := c.addr
		c.powerOn()
		c.addr, c.regs[0][l0Address] = addr, byte(addr)
		c.halted = v == 0
	}
}

// run starts what the start register and the sequence say, or stops.
func (c *VL53L0X) run(v byte) {
	was := c.mode
	c.mode = zeroIdle
	switch {
	case c.halted:
	case v == 0x41 && c.regs[0][l0Sequence] == 1:
		c.mode = zeroVHV
	case v == 0x01 && c.regs[0][l0Sequence] == 2:
		c.mode = zeroPhase
	case v == 0x01 && was != zeroOn:
		c.mode = zeroSingle
	case v == 0x02 || v == 0x04:
		c.mode = zeroOn
	}
	c.begun, c.ready = c.clock.Boot(), false
}

// clear ends the hold on a result.
func (c *VL53L0X) clear() {
	if !c.ready {
		return
	}
	c.ready = false
	if c.mode != zeroOn {
		c.mode = zeroIdle
	}
	c.begun = max(c.clock.Boot(), c.begun+c.takes())
}

// work finishes what is under way if its time is over.
func (c *VL53L0X) work() {
	due := c.begun + c.takes()
	if c.mode == zeroIdle || c.ready || c.noReady || c.clock.Boot() < due {
		return
	}
	c.ready = true
	c.regs[0][l0Start] &^= 1
	switch c.mode {
	case zeroVHV:
		c.vhv, c.vhvC = true, c.scene.ChipC(due)
	case zeroPhase:
		c.phase = true
	default:
		if !c.frozen {
			c.result(due)
		}
	}
}

// takes is how long what is under way takes: a few milliseconds for a calibration, else what the timeouts say and ST's
// overheads, 5460 µs with receiver selection, pre-range and final range.
func (c *VL53L0X) takes() time.Duration {
	if c.mode == zeroVHV || c.mode == zeroPhase {
		return c.opts.late(4 * time.Millisecond)
	}
	return c.opts.late(c.light() + 5460*time.Microsecond + 2*c.periods(int(c.regs[0][l0MSRC])+1, l0PrePeriod))
}

// light is the time of light: the pre-range's, and the final range's, whose register counts both in periods of its own.
func (c *VL53L0X) light() time.Duration {
	pre := c.timeout(l0Pre)
	final := max(0, c.timeout(l0Final)-pre)
	return c.periods(pre, l0PrePeriod) + c.periods(final, l0FinalPeriod)
}

func (c *VL53L0X) timeout(reg int) int {
	return int(c.regs[0][reg+1])<<min(c.regs[0][reg], 16) + 1
}

// periods is a time of so many macro periods: 2304 laser periods of 1655 ps each clock.
func (c *VL53L0X) periods(n, vcsel int) time.Duration {
	clocks := (int(c.regs[0][vcsel]) + 1) * 2
	return time.Duration(float64(n) * 2304 * float64(clocks) * 1.655)
}

// result measures and fills in the result registers.
func (c *VL53L0X) result(at time.Duration) {
	target, chipC := c.scene.Target(at), c.scene.ChipC(at)
	s := l0Optics.shoot(target, c.light(), 1, c.rng)
	s.compensate(float64(c.get16(l0Crosstalk)) / 8192)
	offset := float64(int16(c.get16(l0Offset)<<4)>>4) / 4
	s.mm += c.opts.OffsetMM + c.opts.DriftMMPerC*(chipC-c.vhvC) + offset
	status := c.status(s, target)
	switch status {
	case 8:
		s.mm = 20 // clipped
	case 11:
	default:
		s.mm = 8190
	}
	block := c.regs[0][l0Result : l0Result+12]
	clear(block)
	block[0] = status<<3 | 1
	put := func(i int, v float64) {
		binary.BigEndian.PutUint16(block[i:], uint16(min(max(math.Round(v), 0), 0xFFFF)))
	}
	put(2, s.spads*256)
	put(6, c.count(s.signal*128))
	put(8, c.count(s.ambient*128))
	put(10, s.mm)
	if c.spoil != nil {
		c.spoil(block)
	}
}

// count is a count of photons, which is never twice the same, noise or no noise.
func (c *VL53L0X) count(v float64) float64 {
	c.photons++
	if c.rng == nil {
		return v + float64(c.photons%7)
	}
	return v + math.Sqrt(max(1, v))*c.rng.NormFloat64()
}

// status is the chip's status of a result: 11 good, 3 not calibrated, 4 no signal, 6 beyond what its phase can tell, 8 too
// near.
func (c *VL53L0X) status(s shot, t Target) byte {
	switch {
	case !c.vhv || !c.phase || c.reference() == 0:
		return 3
	case t.None, s.signal < float64(c.get16(l0Limit))/128:
		return 4
	case t.DistanceMM > 2200:
		return 6
	case s.mm < 20:
		return 8
	}
	return 11
}

// Interrupt is the chip's interrupt line as a pin to read: low while there is a result.
func (c *VL53L0X) Interrupt() gpio.PinIO {
	return &linePin{Pin: gpiotest.Pin{N: "GPIO1"}, level: func() gpio.Level {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.work()
		return gpio.Level(!c.ready)
	}}
}

// Spoil lets f change each result as it is measured: 12 bytes from register 0x14. A nil f ends it.
func (c *VL53L0X) Spoil(f func(block []byte)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.spoil = f
}

// Freeze makes the chip repeat its last result and say that it is ready, until it is called with false.
func (c *VL53L0X) Freeze(on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.frozen = on
}

// Deafen keeps the chip from ever being ready, until it is called with false.
func (c *VL53L0X) Deafen(on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.noReady = on
}

// Register is the value of a register, for tests.
func (c *VL53L0X) Register(page, reg byte) byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.work()
	return c.regs[page&7][reg]
}

func (c *VL53L0X) get16(reg int) uint16 { return binary.BigEndian.Uint16(c.regs[0][reg:]) }

var _ Device = (*VL53L0X)(nil)
