package vl53l0x

import (
	"context"
	"time"

	"nightjar/sensor"
)

// Reference receivers (SPADs) look at the laser inside the chip. The first 12 of them lie in the open, the others behind
// an aperture. Only one kind is used at a time.
const (
	spadCount   = 44
	firstShaded = 12
	leastSPADs  = 3
	// target is the reference signal that ST aims at: 20 Mcps, 9.7.
	target = 20 * 128
)

// spadMap has a bit for each reference receiver.
type spadMap [6]byte

func (m spadMap) has(i int) bool { return m[i/8]>>(i%8)&1 != 0 }

func (m *spadMap) add(i int) { m[i/8] |= 1 << (i % 8) }

// next is the first good receiver of a kind from i on; false if there is none.
func (m spadMap) next(i int, shaded bool) (int, bool) {
	end := firstShaded
	if shaded {
		end = spadCount
	}
	for ; i < end; i++ {
		if m.has(i) {
			return i, true
		}
	}
	return 0, false
}

// first returns the first n good receivers of a kind, and the last one's number; false if there are not so many.
func (m spadMap) first(shaded bool, n int) (some spadMap, last int, ok bool) {
	i := 0
	if shaded {
		i = firstShaded
	}
	for range n {
		at, ok := m.next(i, shaded)
		if !ok {
			return some, last, false
		}
		some.add(at)
		last, i = at, at+1
	}
	return some, last, n > 0
}

// spads chooses the reference receivers that the factory noted in the chip's memory. Where what stands there cannot be,
// they are measured later.
func (d *Dev) spads(ctx context.Context) error {
	count, shaded, err := d.memory(ctx)
	if err != nil {
		return err
	}
	if err := d.Read("read receivers", regSPADs, d.good[:]); err != nil {
		return err
	}
	if err := d.openSPADs(); err != nil {
		return err
	}
	some, _, ok := d.good.first(shaded, count)
	if !ok {
		return d.referTo(d.good) // until window measures them
	}
	return d.referTo(some)
}

// openSPADs makes the map of receivers writable, with the whole array to choose from.
func (d *Dev) openSPADs() error {
	return d.puts(regPage, 1, 0x4F, 0, 0x4E, 0x2C, regPage, 0, regSelect, 0xB4)
}

func (d *Dev) referTo(m spadMap) error { return d.put(regSPADs, m[:]...) }

// memoryBound is how long the chip may take to hand out its memory.
const memoryBound = 50 * time.Millisecond

// memory reads count and kind of the reference receivers.
func (d *Dev) memory(ctx context.Context) (count int, shaded bool, err error) {
	if err := d.puts(regPower, 1, regPage, 1, regStart, 0, regPage, 6); err != nil {
		return 0, false, err
	}
	if err := d.update(regStrobe, 0xFF, 4); err != nil {
		return 0, false, err
	}
	if err := d.puts(regPage, 7, 0x81, 1, 0x80, 1, 0x94, 0x6B, regStrobe, 0); err != nil {
		return 0, false, err
	}
	err = d.Until(ctx, "read memory", time.Millisecond, memoryBound, func() (bool, error) {
		v, err := d.Read8("read memory", regStrobe)
		return v != 0, err
	})
	if err != nil {
		return 0, false, err
	}
	if err := d.puts(regStrobe, 1); err != nil {
		return 0, false, err
	}
	b, err := d.twice(regMemory)
	if err != nil {
		return 0, false, err
	}
	if err := d.puts(0x81, 0, regPage, 6); err != nil {
		return 0, false, err
	}
	if err := d.update(regStrobe, 0xFB, 0); err != nil {
		return 0, false, err
	}
	return int(b & 0x7F), b>>7 != 0, d.puts(regPage, 1, regStart, 1, regPage, 0, regPower, 0)
}

// plausible reports whether the chosen reference receivers can be the factory's choice: at most 32 shaded or 12 open ones
// (ST's driver).
func (d *Dev) plausible() bool {
	n, shaded := 0, false
	for i := range spadCount {
		v, _ := d.image.get(0, regSPADs+byte(i/8))
		if v>>(i%8)&1 != 0 {
			n++
			shaded = shaded || i >= firstShaded
		}
	}
	return n > 0 && (shaded && n <= 32 || !shaded && n <= firstShaded)
}

// window measures the reference receivers where a window lies above the chip, or the factory's choice cannot be.
func (d *Dev) window(ctx context.Context) error {
	if !d.opts.Window && d.plausible() {
		return nil
	}
	if err := d.openSPADs(); err != nil {
		return err
	}
	if err := d.put(regPower, 0); err != nil {
		return err
	}
	if err := d.calibrate(ctx); err != nil {
		return err
	}
	for _, shaded := range []bool{false, true} {
		done, err := d.choose(ctx, shaded)
		if err != nil || done {
			return err
		}
	}
	return d.Errorf("measure receivers", sensor.ErrHardware, "too few good reference receivers")
}

// choose adds good receivers of a kind one by one and keeps the number whose signal is nearest to the target. It reports
// false if the other kind must be tried: there are too few, or the least number is already too bright (shaded ones are
// then kept all the same).
func (d *Dev) choose(ctx context.Context, shaded bool) (bool, error) {
	some, last, ok := d.good.first(shaded, leastSPADs)
	if !ok {
		return false, nil
	}
	rate, err := d.reference(ctx, some)
	if err != nil || rate > target {
		return err == nil && shaded, err
	}
	for {
		at, ok := d.good.next(last+1, shaded)
		if !ok {
			return true, nil
		}
		more := some
		more.add(at)
		brighter, err := d.reference(ctx, more)
		if err != nil {
			return false, err
		}
		if brighter > target {
			if brighter-target > target-rate {
				err = d.referTo(some)
			}
			return true, err
		}
		some, last, rate = more, at, brighter
	}
}

// reference measures the reference receivers' signal, 9.7 Mcps, with one range.
func (d *Dev) reference(ctx context.Context, m spadMap) (int, error) {
	if err := d.referTo(m); err != nil {
		return 0, err
	}
	if err := d.commands("measure receivers", regSequence, 0xC0); err != nil {
		return 0, err
	}
	if err := d.prologue(); err != nil {
		return 0, err
	}
	if err := d.commands("measure receivers", regStart, 1); err != nil {
		return 0, err
	}
	if err := d.Until(ctx, "measure receivers", 2*time.Millisecond, MaxBudget, d.isReady); err != nil {
		return 0, err
	}
	if err := d.take(); err != nil {
		return 0, err
	}
	if err := d.commands("measure receivers", regPage, 1); err != nil {
		return 0, err
	}
	rate, err := d.Read16("measure receivers", regRate)
	if err != nil {
		return 0, err
	}
	return int(rate), d.commands("measure receivers", regPage, 0, regSequence, sequence)
}
