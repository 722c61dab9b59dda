package vl6180x_test

import (
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl6180x"

	"periph.io/x/conn/v3/i2c"
)

func TestSuite(t *testing.T) {
	sensortest.Run(t, sensortest.Rig{
		Budget: 33 * time.Millisecond,
		Chip: func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) sensortest.Chip {
			return sim.NewVL6180X(c, s, o)
		},
		Driver: func(b i2c.Bus, c sensor.Clock) (sensor.Ranger, error) {
			d, err := vl6180x.New(b, vl6180x.DefaultAddr, &vl6180x.Opts{Clock: c, Budget: 33 * time.Millisecond})
			if err != nil {
				return nil, err
			}
			return d, nil
		},
	})
}
