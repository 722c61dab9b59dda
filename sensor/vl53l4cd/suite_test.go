package vl53l4cd_test

import (
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"

	"periph.io/x/conn/v3/i2c"
)

func TestSuite(t *testing.T) {
	sensortest.Run(t, sensortest.Rig{
		Budget: 50 * time.Millisecond,
		Chip: func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) sensortest.Chip {
			return sim.NewVL53L4CD(c, s, o)
		},
		Driver: func(b i2c.Bus, c sensor.Clock) (sensor.Ranger, error) {
			return vl53l4cd.New(b, vl53l4cd.DefaultAddr, &vl53l4cd.Opts{Clock: c, Budget: 50 * time.Millisecond})
		},
	})
}
