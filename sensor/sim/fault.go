package sim

import (
	"time"

	"nightjar/sensor"
)

// FailNth makes the n-th transfer from now on fail with err, counted from 1, and only that one.
func FailNth(n int, err error) Fault {
	return Fault{Before: func(*Transfer) error {
		if n--; n == 0 {
			return err
		}
		return nil
	}}
}

// FailWhile makes every transfer fail with err while cond holds.
func FailWhile(cond func() bool, err error) Fault {
	return Fault{Before: func(*Transfer) error {
		if cond() {
			return err
		}
		return nil
	}}
}

// FailBetween makes every transfer fail with err from one time since boot to another: ErrNACK for a loose cable,
// ErrHeld for a line held low.
func FailBetween(clock sensor.Clock, from, to time.Duration, err error) Fault {
	return FailWhile(func() bool {
		now := clock.Boot()
		return from <= now && now < to
	}, err)
}

// FlipRead flips one bit of what the n-th transfer from now on reads, as a bus controller does that cuts a stretched
// clock short (raspberrypi/linux issue 254). The bit counts from the first byte's highest; transfers that read fewer
// bits are not counted.
func FlipRead(n, bit int) Fault {
	return Fault{After: func(t *Transfer) {
		if bit/8 >= len(t.R) {
			return
		}
		if n--; n == 0 {
			t.R[bit/8] ^= 0x80 >> (bit % 8)
		}
	}}
}

// FlipWrite flips one bit on the way to the chip in the n-th transfer from now on that writes so many bits.
func FlipWrite(n, bit int) Fault {
	return Fault{Before: func(t *Transfer) error {
		if bit/8 >= len(t.W) {
			return nil
		}
		if n--; n == 0 {
			t.W[bit/8] ^= 0x80 >> (bit % 8)
		}
		return nil
	}}
}

// CutWrite lets only the first keep bytes of the next write that is longer reach the chip, and reports success all the
// same: a block half written.
func CutWrite(keep int) Fault {
	done := false
	return Fault{Before: func(t *Transfer) error {
		if !done && len(t.W) > keep {
			done = true
			t.W = t.W[:keep]
		}
		return nil
	}}
}

// FreezeReads makes every read of an index that was read before return what it returned then: failed reads that return
// old memory.
func FreezeReads() Fault {
	old := map[string][]byte{}
	return Fault{After: func(t *Transfer) {
		if len(t.R) == 0 {
			return
		}
		key := string(t.W) + string(rune(len(t.R)))
		if was, ok := old[key]; ok {
			copy(t.R, was)
			return
		}
		old[key] = append([]byte(nil), t.R...)
	}}
}
