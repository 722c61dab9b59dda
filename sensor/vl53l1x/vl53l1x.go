package vl53l1x

import (
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/internal/vl53"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// DefaultAddr is the address after power-up.
const DefaultAddr = vl53.DefaultAddr

// timeouts are the two range timeouts of a budget in short mode, from the tables of ST's driver and the kernel's; that
// of 33 ms is computed by ST's formula (see the package's traps).
var timeouts = map[time.Duration][2]uint16{
	15 * time.Millisecond:  {0x001D, 0x0027},
	20 * time.Millisecond:  {0x0051, 0x006E},
	33 * time.Millisecond:  {0x0191, 0x01C1},
	50 * time.Millisecond:  {0x01AE, 0x01E8},
	100 * time.Millisecond: {0x02E1, 0x0388},
	200 * time.Millisecond: {0x03E1, 0x0496},
	500 * time.Millisecond: {0x0591, 0x05C1},
}

// Budgets returns the timing budgets that the chip has settings for, the shortest first.
func Budgets() []time.Duration { return slices.Sorted(maps.Keys(timeouts)) }

// Opts are the options of a VL53L1X. Only Clock must be set.
type Opts struct {
	// Clock is where the driver takes its time from.
	Clock sensor.Clock
	// Budget is the time for a single range, one of Budgets; 0 is 100 ms. Noise falls with its square root.
	Budget time.Duration
	// ROI is the region of interest; the zero value is 8 × 8 around the optical centre.
	ROI ROI
	// SigmaMM is the largest estimate of noise with which a range still counts as good, mm; 0 is 15.
	SigmaMM float64
	// OffsetMM is what CalibrateOffset found, mm; unknown keeps the factory's. CrosstalkKcps is what CalibrateCrosstalk
	// found; unknown is none.
	OffsetMM, CrosstalkKcps rise.Num
	// XSHUT is the chip's reset line, nil if it is not wired. Low holds the chip in reset.
	XSHUT gpio.PinOut
	// Interrupt is the chip's GPIO1 line, set up as an input, nil if it is not wired.
	Interrupt gpio.PinIn
	// Sole says that no other ranger is on the bus: one that answers at 0x29 is this one even if it is to have another
	// address, since a dip of the supply puts it back there.
	Sole bool
}

// Dev is a VL53L1X. It must not be used by two goroutines at once.
type Dev struct{ *vl53.Dev }

// New finds the chip on a bus, resets it, moves it to addr if that is not the default address, and checks its identity. It
// takes some 5 ms. The settings are written by the first Range. The bus stays the caller's.
func New(b i2c.Bus, addr uint16, opts *Opts) (*Dev, error) {
	conf, roi, err := opts.config()
	if err != nil {
		return nil, fmt.Errorf("VL53L1X: %w", err)
	}
	m := model
	m.Settle = func(d *vl53.Dev) ([]vl53.Write, error) { return settle(d, roi) }
	d, err := vl53.New(b, addr, m, conf)
	if err != nil {
		return nil, err
	}
	return &Dev{d}, nil
}

// config fills in the defaults and checks the rest.
func (o *Opts) config() (vl53.Config, ROI, error) {
	if o == nil {
		o = &Opts{}
	}
	c := vl53.Config{Clock: o.Clock, Budget: o.Budget, SigmaMM: o.SigmaMM, OffsetMM: o.OffsetMM, CrosstalkKcps: o.CrosstalkKcps,
		XSHUT: o.XSHUT, Interrupt: o.Interrupt, Sole: o.Sole}
	if c.Budget == 0 {
		c.Budget = 100 * time.Millisecond
	}
	if c.SigmaMM == 0 {
		c.SigmaMM = 15
	}
	if _, ok := timeouts[c.Budget]; !ok {
		return c, ROI{}, fmt.Errorf("timing budget %v: must be one of %v", c.Budget, Budgets())
	}
	roi, err := o.ROI.checked()
	return c, roi, err
}

// model is what tells a VL53L1X from the others of its family. The block is ST's, with the bus at 2.8 V levels, as on
// every breakout for a Raspberry Pi. It is that of the long mode; settle makes it short.
var model = vl53.Model{
	Name: "VL53L1X",
	ID:   0xEACC,
	Block: vl53.Block{
		0x00, 0x01, 0x01, 0x01, 0x02, 0x00, 0x02, 0x08, // 0x002D: 2.8 V, 2.8 V; interrupt active high
		0x00, 0x08, 0x10, 0x01, 0x01, 0x00, 0x00, 0x00, // 0x0035
		0x00, 0xFF, 0x00, 0x0F, 0x00, 0x00, 0x00, 0x00, // 0x003D
		0x00, 0x20, 0x0B, 0x00, 0x00, 0x02, 0x0A, 0x21, // 0x0045: interrupt on a new sample
		0x00, 0x00, 0x05, 0x00, 0x00, 0x00, 0x00, 0xC8, // 0x004D
		0x00, 0x00, 0x38, 0xFF, 0x01, 0x00, 0x08, 0x00, // 0x0055
		0x00, 0x01, 0xCC, 0x0F, 0x01, 0xF1, 0x0D, 0x01, // 0x005D
		0x68, 0x00, 0x80, 0x08, 0xB8, 0x00, 0x00, 0x00, // 0x0065: signal threshold 1 Mcps
		0x00, 0x0F, 0x89, 0x00, 0x00, 0x00, 0x00, 0x00, // 0x006D
		0x00, 0x00, 0x01, 0x0F, 0x0D, 0x0E, 0x0E, 0x00, // 0x0075
		0x00, 0x02, 0xC7, 0xFF, 0x9B, 0x00, 0x00, 0x00, // 0x007D
		0x01, 0x00, 0x00, // 0x0085
	},
	Start:     0x40, // a range each interval
	NearestMM: 40,
}

// short are the settings of the short mode, in ST's order: up to 1.3 m, the least disturbed by stray light.
var short = []vl53.Write{
	{Reg: vl53.RegPhaseTimeout, Data: []byte{0x14}},
	{Reg: vl53.RegVCSELA, Data: []byte{0x07}},
	{Reg: vl53.RegVCSELB, Data: []byte{0x05}},
	{Reg: vl53.RegPhaseHigh, Data: []byte{0x38}},
	{Reg: vl53.RegWOI, Data: []byte{0x07, 0x05}},
	{Reg: vl53.RegInitialPhase, Data: []byte{0x06, 0x06}},
}

// settle makes the settings of mode, budget, interval and region: the mode before the budget (UM2510).
func settle(d *vl53.Dev, roi ROI) ([]vl53.Write, error) {
	pll, err := d.Constant("read oscillator", vl53.RegPLL)
	if err != nil {
		return nil, err
	}
	if pll&0x3FF == 0 {
		return nil, d.Errorf("set interval", sensor.ErrHardware, "the oscillator's calibration reads 0")
	}
	optical, err := d.Constant("read optical centre", vl53.RegOpticalCentre)
	if err != nil {
		return nil, err
	}
	t := timeouts[d.Budget()]
	return append(slices.Clone(short),
		vl53.Write{Reg: vl53.RegTimeoutA, Data: binary.BigEndian.AppendUint16(nil, t[0])},
		vl53.Write{Reg: vl53.RegTimeoutB, Data: binary.BigEndian.AppendUint16(nil, t[1])},
		vl53.Write{Reg: vl53.RegInterval, Data: binary.BigEndian.AppendUint32(nil, encodeInterval(pll, d.Budget()))},
		vl53.Write{Reg: vl53.RegROICentre, Data: []byte{roi.at(byte(optical >> 8))}},
		vl53.Write{Reg: vl53.RegROISize, Data: []byte{roi.register()}},
	), nil
}

// encodeInterval is the interval register, by the calibration value of the oscillator (0x00DE). An interval shorter than
// the budget would miss starts and double; it is as long as the budget.
func encodeInterval(pll uint16, interval time.Duration) uint32 {
	return uint32(float64(pll&0x3FF) * float64(interval.Milliseconds()) * 1.075)
}

var (
	_ sensor.Ranger                            = (*Dev)(nil)
	_ sensor.TemperatureAware                  = (*Dev)(nil)
	_ sensor.Calibrator                        = (*Dev)(nil)
	_ interface{ Precision() physic.Distance } = (*Dev)(nil)
)
