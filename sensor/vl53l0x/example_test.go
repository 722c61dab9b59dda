package vl53l0x_test

import (
	"context"
	"fmt"
	"time"

	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l0x"
)

func Example() {
	clock := sim.NewClock(time.Now(), time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L0X(clock, sim.Card(120), sim.ChipOpts{Quiet: true})) // i2cbus.New(1) on a Pi
	d, err := vl53l0x.New(bus, vl53l0x.DefaultAddr, &vl53l0x.Opts{Clock: clock, Budget: 33 * time.Millisecond})
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := d.Range(context.Background(), 20)
	fmt.Println(d, b.RangeMM, b.Valid, err)
	// Output: VL53L0X at 0x29 120 20 <nil>
}
