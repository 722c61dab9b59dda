package main

import (
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
	require.ElementsMatch(t, append(detectOrder, config.ChipAuto, config.ChipKernel), config.Chips, "every chip that may be configured has a driver and is detected")
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
