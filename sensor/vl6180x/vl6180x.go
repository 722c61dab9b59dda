package vl6180x

import (
	"context"
	"fmt"
	"math"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/internal/tof"
	"nightjar/sensor/register"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// DefaultAddr is the address after power-up.
const DefaultAddr = tof.DefaultAddr

// Opts are the options of a VL6180X. Only Clock must be set.
type Opts struct {
	// Clock is where the driver takes its time from.
	Clock sensor.Clock
	// Budget is the time for a single range, 15 to 68 ms; 0 is 50 ms. It bounds the time of light: the chip takes no more
	// of it than it needs.
	Budget time.Duration
	// SigmaMM is the standard deviation of a burst beyond which its ranges do not count as good, mm; 0 is 10.
	SigmaMM float64
	// OffsetMM is what CalibrateOffset found, mm; unknown keeps the factory's. CrosstalkKcps is what CalibrateCrosstalk
	// found, thousands of counts a second over the whole chip; unknown is none.
	OffsetMM, CrosstalkKcps rise.Num
	// XSHUT is the chip's GPIO0 line, nil if it is not wired. Low holds the chip in reset.
	XSHUT gpio.PinOut
	// Interrupt is the chip's GPIO1 line, set up as an input with a pull-up, nil if it is not wired.
	Interrupt gpio.PinIn
	// Sole says that no other ranger is on the bus: one that answers at 0x29 is this one even if it is to have another
	// address, since a dip of the supply puts it back there.
	Sole bool
}

// Dev is a VL6180X. It must not be used by two goroutines at once.
type Dev struct {
	*tof.Dev
	opts    Opts
	factory rise.Num // the factory's offset, mm, once it was read
	wrote   []write
	block   [blockLen]byte
	poll    [regReady - regStatus + 1]byte
	asked   bool // poll holds the status of the result that is ready
	taken   int  // results read
}

// write is a setting of one byte.
type write struct {
	reg uint16
	v   byte
}

// New finds the chip on a bus, resets it if its line is wired, moves it to addr if that is not the default address, and
// checks its identity. It takes some 5 ms. The settings are written by the first Range. The bus stays the caller's.
func New(b i2c.Bus, addr uint16, opts *Opts) (*Dev, error) {
	d := &Dev{}
	if opts != nil {
		d.opts = *opts
	}
	if err := d.opts.check(); err != nil {
		return nil, fmt.Errorf("VL6180X: %w", err)
	}
	ops := tof.Ops{
		Identify: d.identify, Reset: d.reset, Booted: d.booted, Move: d.move, SetUp: d.setUp, Intact: d.intact,
		Calibrate: d.calibrate, Start: d.clear, Shot: d.shot, Stop: d.stop, Ready: d.isReady, ReadyHigh: gpio.Low,
		Take: d.take, Block: d.block[:], Sample: d.sample,
	}
	conf := tof.Config{Clock: d.opts.Clock, Budget: d.opts.Budget, SpreadMM: d.opts.SigmaMM, XSHUT: d.opts.XSHUT,
		Interrupt: d.opts.Interrupt, Sole: d.opts.Sole}
	var err error
	if d.Dev, err = tof.Make(register.Wide(b, addr, "VL6180X"), ops, conf); err != nil {
		return nil, fmt.Errorf("VL6180X: %w", err)
	}
	if err := d.Arrive(context.Background()); err != nil {
		return nil, err
	}
	return d, nil
}

// check fills in the defaults and refuses what the chip cannot do.
func (o *Opts) check() error {
	if o.Budget == 0 {
		o.Budget = 50 * time.Millisecond
	}
	if o.SigmaMM == 0 {
		o.SigmaMM = 10
	}
	mm, kcps := o.OffsetMM.Or(0), o.CrosstalkKcps.Or(0)
	switch {
	case o.Budget < MinBudget || o.Budget > MaxBudget:
		return fmt.Errorf("timing budget %v: must be %v to %v", o.Budget, MinBudget, MaxBudget)
	case mm < -128 || mm > 127:
		return fmt.Errorf("offset of %.1f mm: must be -128 to 127 mm", mm)
	case kcps < 0 || kcps >= 512_000:
		return fmt.Errorf("crosstalk of %.3f kcps: must be 0 to below 512000", kcps)
	}
	return nil
}

// booted asks anything: the chip answers only once it has booted.
func (d *Dev) booted() (bool, error) {
	_, err := d.Read8("probe", regFresh)
	return err == nil, err
}

func (d *Dev) identify() error {
	id, err := d.Read8("read identity", regModel)
	if err == nil && id != 0xB4 {
		err = d.Errorf("check identity", sensor.ErrIdentity, "it says %02X, a VL6180X says B4", id)
	}
	return err
}

func (d *Dev) move(addr byte) error { return d.Write("change address", regAddress, addr) }

// restBound is how long a range under way may take to end.
const restBound = 200 * time.Millisecond

// reset brings the chip to rest, which has no reset by register. Bit 1 of the start register tells that it ranges
// continuously; then a 1 written there stops it, otherwise it would start a range.
func (d *Dev) reset(ctx context.Context) error {
	mode, err := d.Read8("read mode", regStart)
	if err != nil {
		return err
	}
	if mode&2 != 0 {
		if err := d.Write("stop", regStart, 1); err != nil {
			return err
		}
	}
	if err := d.Write("stop", regHold, 0); err != nil {
		return err
	}
	return d.Until(ctx, "stop", 5*time.Millisecond, restBound, func() (bool, error) {
		v, err := d.Read8("read status", regStatus)
		return v&1 != 0, err
	})
}

// intact reports whether the settings still stand: after a reset the chip says so itself.
func (d *Dev) intact() (bool, error) {
	fresh, err := d.Read8("read settings back", regFresh)
	if err != nil || fresh&1 != 0 {
		return false, err
	}
	conv, err := d.Read8("read settings back", regConvergence)
	return conv == convergence(d.opts.Budget), err
}

// calibrate has the chip calibrate its laser's supply; it takes 200 µs and is done by itself every 255 ranges, too.
func (d *Dev) calibrate(context.Context) error {
	return d.Write("calibrate", regRecalibrate, 1)
}

func (d *Dev) clear() error { return d.Write("clear interrupt", regClear, 7) }

func (d *Dev) shot() error { return d.Write("start", regStart, 1) }

// isReady asks whether there is a result. The answer brings the result's status along, two registers before it.
func (d *Dev) isReady() (bool, error) {
	if err := d.Read("ask for a range", regStatus, d.poll[:]); err != nil {
		return false, err
	}
	ready := d.poll[regReady-regStatus]&7 == 4
	d.asked = ready
	return ready, nil
}

// take reads a result. Of the block only the range and the signal are read each time, and the stray light once a burst: all
// of it each time would fill a slow bus.
func (d *Dev) take() error {
	d.block[0] = d.poll[0]
	if !d.asked { // the interrupt line told, or nobody
		if err := d.Read("read result", regStatus, d.block[:1]); err != nil {
			return err
		}
	}
	d.asked = false
	n := shortLen
	if d.taken%lightEvery == 0 {
		n = resultLen
	}
	d.taken++
	clear(d.block[1+n:])
	if err := d.Read("read result", regResult, d.block[1:1+n]); err != nil {
		return err
	}
	return d.clear()
}

// stop ends a burst and finds out whether the chip was reset in it: then none of its results is to be believed.
func (d *Dev) stop() error {
	if err := d.clear(); err != nil {
		return err
	}
	fresh, err := d.Read8("stop", regFresh)
	if err == nil && fresh&1 != 0 {
		err = d.Errorf("stop", sensor.ErrHardware, "it was reset and has lost its settings: check its supply")
	}
	return err
}

// sample is the last result in the terms that all rangers share.
func (d *Dev) sample() tof.Result {
	r, err := decode(d.block[:])
	if err != nil {
		return tof.Result{Sample: rise.Sample{Status: rise.StatusOther}}
	}
	return tof.Result{Sample: rise.Sample{RangeMM: float64(r.rangeMM), Status: r.status(), SignalMcps: r.signalMcps, AmbientMcps: r.ambientMcps}}
}

// CalibrateOffset finds the offset with a flat white target 50 mm from the window (data sheet; 20 to 100 mm are taken),
// over 10 to 255 ranges, sets it, and returns it, mm. Keep the value and give it as an option: the chip forgets it.
func (d *Dev) CalibrateOffset(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate offset"
	if err := d.CheckTarget(op, trueMM, 20, 100, n); err != nil {
		return 0, err
	}
	s, err := d.Measure(ctx, op, n, func() error { return d.Write(op, regOffset, 0) })
	if err != nil {
		return 0, err
	}
	mm := math.Round(min(max(trueMM-s.MeanMM(), -128), 127))
	d.opts.OffsetMM = rise.Known(mm)
	return mm, nil
}

// CalibrateCrosstalk finds what a window throws back, with a flat black target (3 %) 100 mm away (data sheet; 50 to 200
// mm are taken), over 10 to 255 ranges, after the offset was calibrated: rate × (1 − mean/true). It sets it and returns it,
// thousands of counts a second. Keep the value and give it as an option.
func (d *Dev) CalibrateCrosstalk(ctx context.Context, trueMM float64, n int) (float64, error) {
	const op = "calibrate crosstalk"
	if err := d.CheckTarget(op, trueMM, 50, 200, n); err != nil {
		return 0, err
	}
	s, err := d.Measure(ctx, op, n, func() error { return d.Write16(op, regCrosstalk, 0) })
	if err != nil {
		return 0, err
	}
	raw := crosstalkBits(1000 * max(0, s.Mcps/s.N*(1-s.MeanMM()/trueMM)))
	d.opts.CrosstalkKcps = rise.Known(float64(raw) / 0.128)
	return float64(raw) / 0.128, nil
}

// crosstalkBits is a rate as 9.7 Mcps.
func crosstalkBits(kcps float64) uint16 { return uint16(math.Round(min(kcps*0.128, math.MaxUint16))) }

var (
	_ sensor.Ranger                                   = (*Dev)(nil)
	_ interface{ Precision() physic.Distance }        = (*Dev)(nil)
	_ interface{ SetTemperature(physic.Temperature) } = (*Dev)(nil)
)
