// Package sensortest holds what every ranger's driver is tested with: the suite that each must pass on its simulated
// chip, and readers of the recorded traffic and the check values in testdata/traces.
//
// A driver's test hands Run a Rig that makes its chip and its driver:
//
//	sensortest.Run(t, sensortest.Rig{
//		Budget: 50 * time.Millisecond,
//		Chip:   func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) sensortest.Chip { return sim.NewVL53L4CD(c, s, o) },
//		Driver: func(b i2c.Bus, c sensor.Clock) (sensor.Ranger, error) { return vl53l4cd.New(b, 0x29, &vl53l4cd.Opts{Clock: c}) },
//	})
package sensortest
