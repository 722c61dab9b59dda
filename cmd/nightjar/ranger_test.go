package main

import (
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/config"
	"nightjar/sensor"
	"nightjar/sensor/sim"
)

// chips are simulated chips by their drivers' names.
var chips = map[string]func(*sim.Clock) sim.Device{
	"vl53l4cd": func(c *sim.Clock) sim.Device { return sim.NewVL53L4CD(c, sim.Card(80), sim.ChipOpts{Seed: 1}) },
	"vl53l1x":  func(c *sim.Clock) sim.Device { return sim.NewVL53L1X(c, sim.Card(80), sim.ChipOpts{Seed: 1}) },
	"vl53l0x":  func(c *sim.Clock) sim.Device { return sim.NewVL53L0X(c, sim.Card(80), sim.ChipOpts{Seed: 1}) },
	"vl6180x":  func(c *sim.Clock) sim.Device { return sim.NewVL6180X(c, sim.Card(80), sim.ChipOpts{Seed: 1}) },
}

func TestOpenRanger_FindsEveryChipByItsIdentity(t *testing.T) {
	t.Parallel()
	require.ElementsMatch(t, append(slices.Collect(maps.Keys(chips)), config.ChipAuto, config.ChipKernel), config.Chips, "every chip that may be configured is tried here")
	for name, chip := range chips {
		clock := sim.NewClock(time.Unix(1_790_000_000, 0), time.Minute)
		r, err := openRanger(config.ChipAuto, sim.NewBus("I2C1", chip(clock)), 0x29, rangerOpts{clock: clock, sole: true})
		require.NoError(t, err, name)
		b, err := r.Range(t.Context(), 20)
		require.NoError(t, err, name)
		assert.InDelta(t, 80, b.RangeMM.Or(0), 4, name)
		require.NoError(t, r.Halt(), name)
	}
}

// A budget that only the chip that is there can keep, one that is on another address by its reset line, and one that a dip
// put back.
func TestOpenRanger_DetectsWhateverTheOptions(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(time.Unix(1_790_000_000, 0), time.Minute)
	chip := sim.NewVL53L4CD(clock, sim.Card(80), sim.ChipOpts{Seed: 1})
	bus := sim.NewBus("I2C1", chip)
	xshut := chip.XSHUT()
	require.NoError(t, sensor.HoldInReset(xshut))
	for _, o := range []rangerOpts{
		{clock: clock, budget: 10 * time.Millisecond, xshut: xshut},
		{clock: clock, budget: 10 * time.Millisecond, sole: true},
	} {
		r, err := openRanger(config.ChipAuto, bus, 0x30, o)
		require.NoError(t, err)
		b, err := r.Range(t.Context(), 20)
		require.NoError(t, err)
		assert.InDelta(t, 80, b.RangeMM.Or(0), 4)
		chip.Brownout()
		require.NoError(t, clock.Sleep(t.Context(), time.Second))
	}
}

func TestOpenRanger_SaysWhenNothingOrAStrangerAnswers(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(time.Unix(1_790_000_000, 0), time.Minute)
	_, err := openRanger(config.ChipAuto, sim.NewBus("I2C1"), 0x29, rangerOpts{clock: clock, sole: true})
	require.ErrorIs(t, err, sensor.ErrAbsent)
	bus := sim.NewBus("I2C1", chips["vl53l0x"](clock))
	_, err = openRanger("vl53l4cd", bus, 0x29, rangerOpts{clock: clock, sole: true})
	require.ErrorIs(t, err, sensor.ErrIdentity)
	_, err = newRanger("abacus", bus, 0x29, rangerOpts{clock: clock})
	require.ErrorContains(t, err, `no driver for chip "abacus"`)
}
