package vl53

import (
	"context"
	"fmt"
	"time"

	"nightjar/rise"
	"nightjar/sensor"

	"periph.io/x/conn/v3/gpio"
)

// stuckAfter is how many results alike to the bit, stream count included, mean that the chip repeats itself.
const stuckAfter = 3

// Range implements sensor.Ranger.
func (d *Dev) Range(ctx context.Context, n int) (rise.Burst, error) {
	if n < 1 {
		return rise.Burst{}, fmt.Errorf("range %d times with %v: must be 1 or more", n, d)
	}
	if err := d.prepare(ctx); err != nil {
		d.fail()
		return rise.Burst{}, err
	}
	d.samples = d.samples[:0]
	err := d.ranges(ctx, n, d.collect)
	if err == nil {
		err = d.judge()
	}
	if err != nil {
		return rise.Burst{}, err
	}
	return d.burst.Burst(d.samples, n), nil
}

// prepare makes the chip ready to range: set up, still set up, and calibrated to its temperature. A chip that does not
// answer may just be booting after a dip of the supply: it is set up anew, which waits for it.
func (d *Dev) prepare(ctx context.Context) error {
	if d.ready && !d.intact() {
		d.fail()
	}
	if !d.ready {
		return d.setUp(ctx)
	}
	if d.heat.known && (d.heat.now-d.heat.then > maxDrift || d.heat.then-d.heat.now > maxDrift) {
		return d.updateTemperature(ctx)
	}
	return nil
}

// ranges starts, hands n results to take, and stops. The first result after the start, which has no check against wrap-
// around, is dropped.
func (d *Dev) ranges(ctx context.Context, n int, take func(Result) error) error {
	err := d.series(ctx, n, take)
	if err != nil {
		d.fail()
	}
	// The chip is put to rest even after an error, if it can be reached at all.
	if stopped := d.stop(); err == nil && stopped != nil {
		d.fail()
		err = stopped
	}
	return err
}

func (d *Dev) series(ctx context.Context, n int, take func(Result) error) error {
	if err := d.Write("start", regStart, d.model.Start); err != nil {
		return err
	}
	alike := 0
	d.last = [BlockLen]byte{}
	for i := range n + 1 {
		if err := d.next(ctx); err != nil {
			return err
		}
		if alike = d.alike(alike); alike >= stuckAfter {
			return d.Errorf("read result", sensor.ErrStuck, "%d results alike to the bit", alike)
		}
		r, err := Decode(d.block[:])
		if err != nil {
			return err
		}
		if i == 0 {
			continue
		}
		if alike > 1 {
			r.Raw = 0 // the same once more is no update
		}
		if err := take(r); err != nil {
			return err
		}
	}
	return nil
}

// alike counts how many results in a row are the same.
func (d *Dev) alike(before int) int {
	if d.block == d.last {
		return before + 1
	}
	d.last = d.block
	return 1
}

// next waits for a result, reads it, and lets the chip go on.
func (d *Dev) next(ctx context.Context) error {
	if err := d.sleep(ctx, d.conf.Budget+time.Millisecond); err != nil {
		return err
	}
	if err := d.until(ctx, "wait for a range", max(time.Millisecond, d.conf.Budget/20), d.conf.Budget+20*time.Millisecond, d.isReady); err != nil {
		return err
	}
	if err := d.Read("read result", regResult, d.block[:]); err != nil {
		return err
	}
	return d.Write("clear interrupt", regClear, 1)
}

// askReady asks whether there is a result: by the interrupt line where it is wired, which costs the bus nothing. The
// line's level is read, not its edge: an edge may be missed, and a wait for one obeys no context.
func (d *Dev) askReady() (bool, error) {
	high := d.model.Block.Get(0x30)&0x10 == 0
	if d.conf.Interrupt != nil {
		return (d.conf.Interrupt.Read() == gpio.High) == high, nil
	}
	v, err := d.Read8("ask for a range", regLine)
	return (v&1 != 0) == high, err
}

// keep keeps a result for the burst.
func (d *Dev) keep(r Result) error {
	s := r.Sample()
	if s.Status == rise.StatusGood && s.RangeMM < d.model.NearestMM {
		s.Status = rise.StatusTooNear
	}
	if r.SPADs == 0 && s.Status == rise.StatusOther {
		s.SignalMcps, s.AmbientMcps, s.SigmaMM = rise.Num{}, rise.Num{}, rise.Num{}
	}
	d.samples = append(d.samples, s)
	return nil
}

// judge refuses a burst in which the chip said nothing but that it is broken, or never ranged at all.
func (d *Dev) judge() error {
	broken, idle := 0, 0
	for _, s := range d.samples {
		switch {
		case s.Status == rise.StatusHardware:
			broken++
		case !s.SignalMcps.IsKnown():
			idle++
		}
	}
	if broken > 0 {
		d.fail() // the next burst begins with a reset
	}
	switch len(d.samples) {
	case broken:
		return d.Errorf("range", sensor.ErrHardware, "it reports a fault of its laser or its supply in all %d ranges", broken)
	case idle:
		d.fail()
		return d.Errorf("range", sensor.ErrHardware, "it answers but does not range: no receiver in use in %d ranges", idle)
	}
	return nil
}

// stop ends ranging.
func (d *Dev) stop() error { return d.Write("stop", regStart, 0) }
