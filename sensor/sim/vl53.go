package sim

import (
	"encoding/binary"
	"math/rand/v2"
	"time"

	"nightjar/sensor"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// VL53 is a simulated VL53L4CD or VL53L1X. The two have the same registers and differ in identity, optics and timing.
//
// It models what the data sheets tell (VL53L4CD DS13812 Rev 3, VL53L1X DocID031281 Rev 2): no answer for 1.2 ms after
// power or XSHUT, then the default address with reset registers; a measurement that takes the timing budget in the
// registers; ranging on hold until the interrupt is cleared, with the old result standing; the line's polarity;
// thresholds of sigma and signal; offset and crosstalk; a drift with temperature that a calibration removes.
type VL53 struct {
	supply
	kind  kind
	scene Scene
	opts  ChipOpts
	rng   *rand.Rand

	regs    [0x1000]byte
	addr    uint16
	stopped bool // held in reset by register 0

	mode    byte          // what was written to the start register; 0 is not ranging
	begun   time.Duration // when the measurement under way began
	ready   bool
	count   byte // the stream count of the next result
	vhvC    float64
	heat    bool // the next result calibrates to the temperature
	spoil   func([]byte)
	frozen  bool
	noReady bool
}

// kind is in what two chips of the family differ.
type kind struct {
	id       [3]byte
	optics   optics
	nearest  float64 // below this the result is clipped, mm
	linear   float64 // from here on the range is linear, mm; nearer it reads too far
	farthest float64 // beyond this it wraps, mm
}

// The registers that mean something to the simulated chip, by their names in ST's register tables.
const (
	vlSoftReset   = 0x0000
	vlAddress     = 0x0001
	vlOscillator  = 0x0006
	vlVHVTimeout  = 0x0008
	vlVHVInit     = 0x000B
	vlCrosstalk   = 0x0016
	vlOffset      = 0x001E
	vlOuterOffset = 0x0022
	vlPolarity    = 0x0030
	vlLine        = 0x0031
	vlTimeoutA    = 0x005E
	vlPeriodA     = 0x0060
	vlTimeoutB    = 0x0061
	vlPeriodB     = 0x0063
	vlSigmaLimit  = 0x0064
	vlSignalLimit = 0x0066
	vlInterval    = 0x006C
	vlROICentre   = 0x007F
	vlROISize     = 0x0080
	vlClear       = 0x0086
	vlStart       = 0x0087
	vlResult      = 0x0089
	vlPLL         = 0x00DE
	vlFirmware    = 0x00E5
	vlIdentity    = 0x010F
	vlOptical     = 0x013E
)

// nvmOffset is the offset that the factory left in the part, in quarter millimetres, as seen in a published dump of a VL53L1X.
const nvmOffset = 0x0034

// NewVL53L4CD returns a simulated VL53L4CD with power on, which sees a scene by a clock.
//
// Its optics: white to about 1200 mm and grey 17 % to about 450 mm in the dark at 33 ms; 1 mm of noise at 100 ms near.
func NewVL53L4CD(clock sensor.Clock, scene Scene, opts ChipOpts) *VL53 {
	return newVL53(clock, scene, opts, kind{id: [3]byte{0xEB, 0xAA, 0x10},
		optics:  optics{perSPAD: 0.6, aim: 10, spads: 256, noise: 1},
		nearest: 1, farthest: 1300})
}

// NewVL53L1X returns a simulated VL53L1X with power on, which sees a scene by a clock.
func NewVL53L1X(clock sensor.Clock, scene Scene, opts ChipOpts) *VL53 {
	return newVL53(clock, scene, opts, kind{id: [3]byte{0xEA, 0xCC, 0x10},
		optics:  optics{perSPAD: 0.5, aim: 10, spads: 256, noise: 1},
		nearest: 1, linear: 40, farthest: 1400})
}

func newVL53(clock sensor.Clock, scene Scene, opts ChipOpts, k kind) *VL53 {
	c := &VL53{kind: k, scene: scene, opts: opts, rng: opts.rng()}
	c.start(clock, 1200*time.Microsecond, c.powerOn)
	return c
}

// powerOn puts the registers to what they are after boot. Those at 0x0006, 0x0008, 0x000B, 0x001E, 0x0020 and 0x0022
// are from a published dump of a VL53L1X.
func (c *VL53) powerOn() {
	clear(c.regs[:])
	for reg, v := range map[int]byte{vlVHVTimeout: 0x81, vlVHVInit: 0x95, 0x0020: 0, 0x0021: 0x28, vlPolarity: 0x11, vlLine: 0x02,
		vlFirmware: 0x03, vlOptical: 0xC7, vlROICentre: 0xC7, vlROISize: 0xFF, vlAddress: 0x29} {
		c.regs[reg] = v
	}
	c.put16(vlOscillator, 0xBC7A)
	c.put16(vlOffset, nvmOffset)
	c.put16(vlOuterOffset, 0x000D)
	c.put16(vlPLL, 0x0024)
	copy(c.regs[vlIdentity:], c.kind.id[:])
	c.addr, c.mode, c.ready, c.stopped, c.heat = 0x29, 0, false, false, false
	c.vhvC = c.scene.ChipC(c.clock.Boot())
}

// Answers implements Device.
func (c *VL53) Answers(addr uint16) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.awake() && addr == c.addr
}

// Tx implements Device: a two-byte index, then data to write from there on, or to read.
func (c *VL53) Tx(_ uint16, w, r []byte) error {
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
		r[i] = c.read(at + i)
	}
	return nil
}

// read is the value of one register.
func (c *VL53) read(reg int) byte {
	switch {
	case reg >= len(c.regs) || c.stopped && reg != vlAddress:
		return 0
	case reg == vlLine:
		return c.regs[reg]&^1 | c.line()
	}
	return c.regs[reg]
}

// line is the level of the interrupt line.
func (c *VL53) line() byte {
	high := c.regs[vlPolarity]&0x10 == 0
	if c.ready == high {
		return 1
	}
	return 0
}

// write sets one register and does what it commands.
func (c *VL53) write(reg int, v byte) {
	if vlIdentity <= reg && reg < vlIdentity+3 || reg == vlFirmware {
		return // read only
	}
	c.regs[reg] = v
	switch reg {
	case vlSoftReset:
		c.softReset(v)
	case vlAddress:
		c.addr = uint16(v & 0x7F)
	case vlVHVInit:
		c.heat = c.heat || v == 0x92
	case vlClear:
		if v&1 != 0 {
			c.clear()
		}
	case vlStart:
		c.run(v)
	}
}

// softReset holds the chip's core in reset for 0 and lets it boot again for 1. The address stays.
func (c *VL53) softReset(v byte) {
	addr := c.addr
	c.powerOn()
	c.addr = addr
	c.regs[vlAddress] = byte(addr)
	if c.stopped = v == 0; c.stopped {
		c.regs[vlFirmware] = 0
	}
}

// run starts ranging or stops it.
func (c *VL53) run(v byte) {
	c.mode = v & 0x71
	if c.stopped {
		c.mode = 0
	}
	c.begun, c.ready, c.count = c.clock.Boot(), false, 0
}

// clear ends the hold: the next measurement begins, at once or when the interval is over.
func (c *VL53) clear() {
	if !c.ready {
		return
	}
	c.ready = false
	if c.mode == 0x10 { // a single range
		c.mode = 0
	}
	next := c.begun + c.budget()
	if c.mode == 0x40 {
		next = c.begun + max(c.budget(), c.interval())
	}
	c.begun = max(c.clock.Boot(), next)
}

// work finishes the measurement under way if its time is over.
func (c *VL53) work() {
	due := c.begun + c.budget()
	if c.mode == 0 || c.ready || c.noReady || c.clock.Boot() < due {
		return
	}
	c.ready = true
	if !c.frozen {
		c.result(due)
	}
}

// Interrupt is the chip's interrupt line as a pin to read.
func (c *VL53) Interrupt() gpio.PinIO {
	return &linePin{Pin: gpiotest.Pin{N: "GPIO1"}, level: func() gpio.Level {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.work()
		return c.line() == 1
	}}
}

// Spoil lets f change each result as it is measured: 17 bytes from register 0x0089. A nil f ends it.
func (c *VL53) Spoil(f func(block []byte)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.spoil = f
}

// Freeze makes the chip repeat its last result, stream count and all, and say that it is ready, until it is called with
// false.
func (c *VL53) Freeze(on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.frozen = on
}

// Deafen keeps the chip from ever being ready, until it is called with false.
func (c *VL53) Deafen(on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.noReady = on
}

// Register is the value of a register, for tests.
func (c *VL53) Register(reg uint16) byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.work()
	return c.read(int(reg))
}

func (c *VL53) get16(reg int) uint16    { return binary.BigEndian.Uint16(c.regs[reg:]) }
func (c *VL53) put16(reg int, v uint16) { binary.BigEndian.PutUint16(c.regs[reg:], v) }

var _ Device = (*VL53)(nil)
