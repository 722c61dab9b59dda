package vl6180x_test

import (
	"context"
	"fmt"
	"time"

	"nightjar/sensor/sim"
	"nightjar/sensor/vl6180x"
)

func Example() {
	clock := sim.NewClock(time.Now(), time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL6180X(clock, sim.Card(75), sim.ChipOpts{Quiet: true})) // i2cbus.New(1) on a Pi
	d, err := vl6180x.New(bus, vl6180x.DefaultAddr, &vl6180x.Opts{Clock: clock})
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := d.Range(context.Background(), 20)
	fmt.Println(d, b.RangeMM, b.Valid, err)
	// Output: VL6180X at 0x29 75 20 <nil>
}
