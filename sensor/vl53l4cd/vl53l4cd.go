package vl53l4cd

import (
	"encoding/binary"
	"fmt"
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

// Opts are the options of a VL53L4CD. Only Clock must be set.
type Opts struct {
	// Clock is where the driver takes its time from.
	Clock sensor.Clock
	// Budget is the time for a single range, 10 to 200 ms; 0 is 100 ms. Noise falls with its square root.
	Budget time.Duration
	// SigmaMM is the largest estimate of noise with which a range still counts as good, mm; 0 is 15. (The default settings of
	// the chip's driver say 40, its manual 15.)
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

// Dev is a VL53L4CD. It must not be used by two goroutines at once.
type Dev struct{ *vl53.Dev }

// New finds the chip on a bus, resets it, moves it to addr if that is not the default address, and checks its identity. It
// takes some 5 ms. The settings are written by the first Range. The bus stays the caller's.
func New(b i2c.Bus, addr uint16, opts *Opts) (*Dev, error) {
	conf, err := opts.config()
	if err != nil {
		return nil, fmt.Errorf("VL53L4CD: %w", err)
	}
	d, err := vl53.New(b, addr, model, conf)
	if err != nil {
		return nil, err
	}
	return &Dev{d}, nil
}

// config fills in the defaults and checks the rest.
func (o *Opts) config() (vl53.Config, error) {
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
	if c.Budget < MinBudget || c.Budget > MaxBudget {
		return c, fmt.Errorf("timing budget %v: must be %v to %v", c.Budget, MinBudget, MaxBudget)
	}
	return c, nil
}

// model is what tells a VL53L4CD from the others of its family. The block is ST's, with the bus at 2.8 V levels and up
// to 400 kHz, as on every breakout for a Raspberry Pi.
var model = vl53.Model{
	Name: "VL53L4CD",
	ID:   0xEBAA,
	Block: vl53.Block{
		0x00, 0x01, 0x01, 0x11, 0x02, 0x00, 0x02, 0x08, // 0x002D: fast mode off, 2.8 V, 2.8 V; interrupt active low
		0x00, 0x08, 0x10, 0x01, 0x01, 0x00, 0x00, 0x00, // 0x0035
		0x00, 0xFF, 0x00, 0x0F, 0x00, 0x00, 0x00, 0x00, // 0x003D
		0x00, 0x20, 0x0B, 0x00, 0x00, 0x02, 0x14, 0x21, // 0x0045: interrupt on a new sample
		0x00, 0x00, 0x05, 0x00, 0x00, 0x00, 0x00, 0xC8, // 0x004D
		0x00, 0x00, 0x38, 0xFF, 0x01, 0x00, 0x08, 0x00, // 0x0055
		0x00, 0x01, 0xCC, 0x07, 0x01, 0xF1, 0x05, 0x00, // 0x005D
		0xA0, 0x00, 0x80, 0x08, 0x38, 0x00, 0x00, 0x00, // 0x0065: signal threshold 1 Mcps
		0x00, 0x0F, 0x89, 0x00, 0x00, 0x00, 0x00, 0x00, // 0x006D
		0x00, 0x00, 0x01, 0x07, 0x05, 0x06, 0x06, 0x00, // 0x0075
		0x00, 0x02, 0xC7, 0xFF, 0x9B, 0x00, 0x00, 0x00, // 0x007D
		0x01, 0x00, 0x00, // 0x0085
	},
	Start:  0x21, // continuous
	Extra:  []vl53.Word{{Reg: vl53.RegAim, Value: 0x0500}},
	Settle: settle,
}

// settle encodes the budget for this chip's oscillator.
func settle(d *vl53.Dev) ([]vl53.Write, error) {
	osc, err := d.Constant("read oscillator", vl53.RegOscillator)
	if err != nil {
		return nil, err
	}
	pll, err := d.Constant("read oscillator", vl53.RegPLL)
	if err != nil {
		return nil, err
	}
	t, err := encodeTiming(osc, pll, d.Budget(), 0)
	if err != nil {
		return nil, d.Errorf("set timing", sensor.ErrHardware, "%v", err)
	}
	return []vl53.Write{
		{Reg: vl53.RegInterval, Data: binary.BigEndian.AppendUint32(nil, t.interval)},
		{Reg: vl53.RegTimeoutA, Data: binary.BigEndian.AppendUint16(nil, t.a)},
		{Reg: vl53.RegTimeoutB, Data: binary.BigEndian.AppendUint16(nil, t.b)},
	}, nil
}

var (
	_ sensor.Ranger                            = (*Dev)(nil)
	_ interface{ Precision() physic.Distance } = (*Dev)(nil)
	_ sensor.TemperatureAware                  = (*Dev)(nil)
	_ sensor.Calibrator                        = (*Dev)(nil)
)
