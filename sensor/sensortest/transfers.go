package sensortest

import (
	"math/rand/v2"
	"testing"

	"nightjar/rise"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// transfers counts the transfers of finding the chip and of two bursts.
func (r Rig) transfers(t *testing.T) int {
	s := r.bench(4)
	for range 2 {
		_, err := s.tick()
		require.NoError(t, err)
	}
	return s.bus.Stats().Transfers
}

func failed(t *testing.T, r Rig) {
	n := r.transfers(t)
	errs := 0
	for k := 1; k <= n; k += stride {
		for _, fault := range []error{sim.ErrNACK, sim.ErrHeld} {
			s := r.bench(uint64(k))
			s.bus.Inject(sim.FailNth(k, fault))
			for range 2 {
				b, err := s.tick()
				if err != nil {
					known(t, err, "transfer %d of %d", k, n)
					assert.Equal(t, rise.Burst{}, b)
					errs++
					continue
				}
				s.right(t, b, "transfer %d of %d", k, n)
			}
			s.recovers(t, "transfer %d of %d", k, n)
		}
	}
	assert.Greater(t, errs, n/stride, "failures are told")
}

// garbled flips one bit in each transfer of finding the chip and of two bursts in turn, written or read: a few bits of
// each by a fixed seed, or every bit with the build tag slow.
func garbled(t *testing.T, r Rig) {
	n := r.transfers(t)
	rng := rand.New(rand.NewPCG(5, 0))
	for k := 1; k <= n; k += stride {
		w, rd := r.lengths(t, k)
		bits := rng.Perm(8 * (w + rd))
		if !everyBit {
			bits = bits[:min(4, len(bits))]
		}
		for _, bit := range bits {
			garbledOnce(t, r, k, bit, w)
		}
	}
}

// lengths are how many bytes the k-th transfer writes and reads.
func (r Rig) lengths(t *testing.T, k int) (w, rd int) {
	s := r.bench(uint64(k))
	s.bus.Watch(func(tr sim.Transfer) {
		if tr.N == k {
			w, rd = len(tr.W), len(tr.R)
		}
	})
	for range 2 {
		_, err := s.tick()
		require.NoError(t, err)
	}
	return w, rd
}

func garbledOnce(t *testing.T, r Rig, k, bit, w int) {
	s := r.bench(uint64(k))
	flip := func(b []byte, bit int) { b[bit/8] ^= 0x80 >> (bit % 8) }
	s.bus.Inject(sim.Fault{
		Before: func(tr *sim.Transfer) error {
			if tr.N == k && bit < 8*len(tr.W) {
				flip(tr.W, bit)
			}
			return nil
		},
		After: func(tr *sim.Transfer) {
			if at := bit - 8*w; tr.N == k && at >= 0 && at < 8*len(tr.R) {
				flip(tr.R, at)
			}
		},
	})
	for range 2 {
		b, err := s.tick()
		if err != nil {
			known(t, err, "transfer %d bit %d", k, bit)
			continue
		}
		s.right(t, b, "transfer %d bit %d of %d+", k, bit, 8*w)
	}
	if !s.chip.Answers(0x29) {
		// The flip made it a write to the address register. Only the power, or XSHUT, brings the chip back.
		s.chip.Brownout()
	}
	s.recovers(t, "transfer %d bit %d", k, bit)
}

// interrupted kills the program after each transfer in turn; the next one finds the chip as it was left
// (cassou/VL53L0X_rasp issue 5).
func interrupted(t *testing.T, r Rig) {
	n := r.transfers(t)
	for k := 1; k < n; k += stride {
		s := r.bench(uint64(k))
		gone := s.bus.Inject(sim.Fault{Before: func(tr *sim.Transfer) error {
			if tr.N > k {
				return sim.ErrHeld
			}
			return nil
		}})
		for range 2 {
			if _, err := s.tick(); err != nil {
				break
			}
		}
		gone()
		s.dev = nil
		s.recovers(t, "killed after transfer %d", k)
	}
}
