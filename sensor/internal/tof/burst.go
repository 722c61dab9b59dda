package tof

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
)

// How many results alike to the bit mean that a chip repeats itself: one that counts its results, and one that does not. Two
// rates of photons with seven binary places after the point are the same so often by chance about never.
const (
	stuckCounted = 3
	stuckAlike   = 8
)

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
	if err := d.ranges(ctx, n, d.keep); err != nil {
		return rise.Burst{}, err
	}
	if err := d.judge(); err != nil {
		d.fail()
		return rise.Burst{}, err
	}
	if d.conf.SpreadMM > 0 {
		d.doubter.Judge(d.samples, d.conf.SpreadMM)
	}
	return d.burst.Burst(d.samples, n), nil
}

// prepare makes the chip ready to range: set up, still set up, and calibrated to its temperature. A chip that does not
// answer may just be booting after a dip of the supply: it is set up anew, which waits for it.
func (d *Dev) prepare(ctx context.Context) error {
	if d.ready {
		if ok, err := d.Intact(); err != nil || !ok {
			d.fail()
		}
	}
	if !d.ready {
		return d.setUp(ctx)
	}
	moved := d.heat.now - d.heat.then
	if d.Calibrate == nil || !d.heat.known || max(moved, -moved) <= maxDrift {
		return nil
	}
	if err := d.Calibrate(ctx); err != nil {
		return err
	}
	d.heat.then = d.heat.now
	return nil
}

// setUp brings the chip to its settings, whatever state it is in.
func (d *Dev) setUp(ctx context.Context) error {
	if !d.fresh {
		if err := d.Arrive(ctx); err != nil {
			return err
		}
	}
	d.fresh = false
	if err := d.SetUp(ctx); err != nil {
		return err
	}
	d.ready = true
	d.heat.then, d.heat.marked = d.heat.now, d.heat.known
	return nil
}

// ranges starts, hands n results to take, and stops. The chip is put to rest even after an error, if it can be reached
// at all.
func (d *Dev) ranges(ctx context.Context, n int, take func(Result)) error {
	err := d.series(ctx, n, take)
	if stopped := d.Stop(); err == nil {
		err = stopped
	}
	if err != nil {
		d.fail()
	}
	return err
}

func (d *Dev) series(ctx context.Context, n int, take func(Result)) error {
	if err := d.Start(); err != nil {
		return err
	}
	limit := stuckAlike
	if d.Counted {
		limit = stuckCounted
	}
	for i := range d.Skip + n {
		if err := d.next(ctx); err != nil {
			return err
		}
		if d.alike = d.repeats(); d.alike >= limit {
			return d.Errorf("read result", sensor.ErrStuck, "%d results alike to the bit", d.alike)
		}
		if i < d.Skip {
			continue
		}
		r := d.Sample()
		if d.Counted && d.alike > 1 {
			r.Status = rise.StatusOther // the same once more is no update
		}
		take(r)
	}
	return nil
}

// repeats counts how many results in a row are the same.
func (d *Dev) repeats() int {
	if bytes.Equal(d.Block, d.last) {
		return d.alike + 1
	}
	copy(d.last, d.Block)
	return 1
}

// next waits for a result and reads it. It waits out the budget first, and does not ask every millisecond.
func (d *Dev) next(ctx context.Context) error {
	if d.Shot != nil {
		if err := d.Shot(); err != nil {
			return err
		}
	}
	if err := d.Sleep(ctx, d.conf.Budget+time.Millisecond); err != nil {
		return err
	}
	if err := d.Until(ctx, "wait for a range", max(time.Millisecond, d.conf.Budget/20), d.conf.Budget+20*time.Millisecond, d.isReady); err != nil {
		return err
	}
	return d.Take()
}

// isReady asks whether there is a result: by the interrupt line where it is wired, which costs the bus nothing. The
// line's level is read, not its edge: an edge may be missed, and a wait for one obeys no context.
func (d *Dev) isReady() (bool, error) {
	if d.conf.Interrupt != nil {
		return d.conf.Interrupt.Read() == d.ReadyHigh, nil
	}
	return d.Ready()
}

// keep keeps a result for the burst. What no receiver saw has no rates either.
func (d *Dev) keep(r Result) {
	if r.SPADs == 0 && r.Status == rise.StatusOther {
		r.SignalMcps, r.AmbientMcps, r.SigmaMM = rise.Num{}, rise.Num{}, rise.Num{}
	}
	d.samples = append(d.samples, r.Sample)
}

// judge refuses a burst in which the chip said nothing but that it is broken, or never ranged at all.
func (d *Dev) judge() error {
	broken, idle := 0, 0
	for _, s := range d.samples {
		switch {
		case s.Status == rise.StatusHardware:
			broken++
		case s.Status == rise.StatusOther && !s.SignalMcps.IsKnown():
			idle++
		}
	}
	switch len(d.samples) {
	case broken:
		return d.Errorf("range", sensor.ErrHardware, "it reports a fault of its laser or its supply in all %d ranges", broken)
	case idle:
		return d.Errorf("range", sensor.ErrHardware, "it answers but does not range: no receiver in use in %d ranges", idle)
	}
	if broken > 0 {
		d.fail() // the next burst begins with a reset
	}
	return nil
}
