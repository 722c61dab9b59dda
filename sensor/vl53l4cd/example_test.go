package vl53l4cd_test

import (
	"context"
	"fmt"
	"time"

	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"
)

func Example() {
	clock := sim.NewClock(time.Date(2026, 3, 6, 20, 0, 0, 0, time.UTC), time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{Quiet: true}))
	d, err := vl53l4cd.New(bus, vl53l4cd.DefaultAddr, &vl53l4cd.Opts{Clock: clock})
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := d.Range(context.Background(), 20)
	fmt.Printf("%v: %v mm, %d of %d, %v\n", d, b.RangeMM, b.Valid, b.Of, err)
	// Output: VL53L4CD at 0x29: 120 mm, 20 of 20, <nil>
}
