package vl53l1x_test

import (
	"context"
	"fmt"
	"time"

	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l1x"
)

// A narrow region looks past the jar's walls.
func Example() {
	clock := sim.NewClock(time.Date(2026, 3, 6, 20, 0, 0, 0, time.UTC), time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L1X(clock, sim.Card(120), sim.ChipOpts{Quiet: true}))
	d, err := vl53l1x.New(bus, vl53l1x.DefaultAddr, &vl53l1x.Opts{Clock: clock, ROI: vl53l1x.ROI{Width: 4, Height: 4}})
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := d.Range(context.Background(), 20)
	fmt.Printf("%v: %v mm, %d of %d, %v\n", d, b.RangeMM, b.Valid, b.Of, err)
	// Output: VL53L1X at 0x29: 120 mm, 20 of 20, <nil>
}
