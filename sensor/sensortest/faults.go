package sensortest

import (
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func absent(t *testing.T, r Rig) {
	s := r.bench(6)
	s.chip.Unplug()
	began := s.clock.Boot()
	_, err := s.tick()
	require.ErrorIs(t, err, sensor.ErrAbsent)
	assert.Less(t, s.clock.Boot()-began, time.Second)
	assert.Equal(t, rise.FaultAbsent, sensor.Fault(err))
	s.chip.Plug()
	s.recovers(t, "plugged in")
	s.chip.Unplug()
	_, err = s.tick()
	require.ErrorIs(t, err, sensor.ErrAbsent)
	s.chip.Plug()
	s.recovers(t, "plugged in again")
}

// stranger answers at the default address with the same byte everywhere.
type stranger struct{ sim.Device }

func (stranger) Answers(addr uint16) bool { return addr == 0x29 }

func (stranger) Tx(_ uint16, _, r []byte) error {
	for i := range r {
		r[i] = 0x5A
	}
	return nil
}

func another(t *testing.T, r Rig) {
	clock := sim.NewClock(time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC), time.Minute)
	bus := sim.NewBus("I2C1", stranger{})
	var wrote []sim.Transfer
	bus.Watch(func(tr sim.Transfer) {
		if len(tr.R) == 0 {
			wrote = append(wrote, tr)
		}
	})
	_, err := r.Driver(bus, clock)
	require.ErrorIs(t, err, sensor.ErrIdentity)
	assert.Empty(t, wrote, "a stranger is not written to")
}

func held(t *testing.T, r Rig) {
	s := r.start(t, 7)
	free := s.bus.Inject(sim.FailWhile(func() bool { return true }, sim.ErrHeld))
	for range 5 {
		_, err := s.tick()
		require.ErrorIs(t, err, sensor.ErrBus)
	}
	free()
	s.recovers(t, "bus free")
}

func brownout(t *testing.T, r Rig) {
	s := r.start(t, 8)
	_, err := s.tick()
	require.NoError(t, err)
	s.chip.Brownout()
	s.recovers(t, "brown-out between bursts")

	for i := range 12 { // and in the middle of one
		at := s.clock.Boot() + time.Duration(i)*2*r.Budget + r.Budget/3
		fired := false
		remove := s.bus.Inject(sim.FailWhile(func() bool {
			if !fired && s.clock.Boot() >= at {
				fired = true
				s.chip.Brownout()
			}
			return false
		}, nil))
		b, err := s.tick()
		if err != nil {
			known(t, err, "brown-out %d", i)
		} else {
			s.right(t, b, "brown-out %d", i)
		}
		s.recovers(t, "brown-out %d", i)
		remove()
	}
}

func deaf(t *testing.T, r Rig) {
	s := r.start(t, 9)
	_, err := s.tick()
	require.NoError(t, err)
	s.chip.Deafen(true)
	began := s.clock.Boot()
	_, err = s.tick()
	require.ErrorIs(t, err, sensor.ErrTimeout)
	assert.Less(t, s.clock.Boot()-began, 3*r.Budget+time.Second)
	for range 3 {
		_, err = s.tick()
		require.Error(t, err)
		known(t, err, "deaf")
	}
	s.chip.Deafen(false)
	s.recovers(t, "ready again")
}

func frozen(t *testing.T, r Rig) {
	if r.NoRepeats {
		return
	}
	s := r.start(t, 10)
	_, err := s.tick()
	require.NoError(t, err)
	s.chip.Freeze(true)
	for range 2 {
		_, err = s.tick()
		require.Error(t, err)
		known(t, err, "frozen")
	}
	s.chip.Freeze(false)
	s.recovers(t, "moving again")
}

// calibration fails each transfer of a calibration of the offset in turn. If it ends well the ranges are right from then on,
// over a loss of power too; if not they are as wrong as they were.
func calibration(t *testing.T, r Rig) {
	const wrongMM, n = 9, 10
	for k, all := 0, 1; k <= all; k += stride {
		s := r.bench(uint64(k))
		s.chip = r.Chip(s.clock, sim.Card(truthMM), sim.ChipOpts{Quiet: true, OffsetMM: wrongMM})
		s.bus = sim.NewBus("I2C1", s.chip)
		_, err := s.tick()
		require.NoError(t, err)
		c, ok := s.dev.(sensor.Calibrator)
		if !ok {
			return
		}
		began := s.bus.Stats().Transfers
		remove := s.bus.Inject(sim.FailNth(k, sim.ErrNACK))
		_, err = c.CalibrateOffset(t.Context(), truthMM, n)
		remove()
		if k == 0 {
			require.NoError(t, err)
			all = s.bus.Stats().Transfers - began
		}
		want := truthMM
		if err != nil {
			known(t, err, "transfer %d", k)
			want += wrongMM
		}
		for range 2 {
			b, err := s.back()
			require.NoError(t, err)
			assert.InDelta(t, want, b.RangeMM.Or(0), 1.5, "transfer %d of %d", k, all)
			s.chip.Brownout()
		}
	}
}
