package vl53l4cd_test

import (
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"

	"periph.io/x/conn/v3/i2c"
)

// TestSuite runs with the chip's own corrections and with given ones, which come to the same: the factory's offset is
// 13 mm.
func TestSuite(t *testing.T) {
	for name, opts := range map[string]vl53l4cd.Opts{
		"as it comes": {},
		"calibrated":  {OffsetMM: rise.Known(13), CrosstalkKcps: rise.Known(0)},
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Run(t, sensortest.Rig{
				Budget: 50 * time.Millisecond,
				Chip:   func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) sensortest.Chip { return sim.NewVL53L4CD(c, s, o) },
				Driver: func(b i2c.Bus, c sensor.Clock) (sensor.Ranger, error) {
					o := opts
					o.Clock, o.Budget = c, 50*time.Millisecond
					return vl53l4cd.New(b, vl53l4cd.DefaultAddr, &o)
				},
			})
		})
	}
}
