package vl53l0x_test

import (
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l0x"

	"periph.io/x/conn/v3/i2c"
)

func TestSuite(t *testing.T) {
	sensortest.Run(t, sensortest.Rig{
		Budget: 50 * time.Millisecond,
		// Twice as noisy as its successors: 0.6 mm in a burst of 20, and the suite makes thousands of bursts.
		ToleranceMM: 3,
		Chip: func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) sensortest.Chip {
			return sim.NewVL53L0X(c, s, o)
		},
		Driver: func(b i2c.Bus, c sensor.Clock) (sensor.Ranger, error) {
			d, err := vl53l0x.New(b, vl53l0x.DefaultAddr, &vl53l0x.Opts{Clock: c, Budget: 50 * time.Millisecond})
			if err != nil {
				return nil, err
			}
			return d, nil
		},
	})
}
