package sim_test

import (
	"context"
	"fmt"
	"time"

	"nightjar/sensor/sim"
)

// A night passes as fast as the work in it can be done.
func ExampleClock() {
	clock := sim.NewClock(time.Date(2026, 3, 6, 20, 0, 0, 0, time.UTC), time.Minute)
	for range 24 {
		_ = clock.Sleep(context.Background(), 30*time.Minute)
	}
	fmt.Println(clock.Wall().Format(time.RFC3339), clock.Boot())
	// Output: 2026-03-07T08:00:00Z 12h1m0s
}

// A loose cable makes every transfer fail from one time to another.
func ExampleBus_Inject() {
	clock := sim.NewClock(time.Date(2026, 3, 6, 20, 0, 0, 0, time.UTC), time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{}))
	bus.Inject(sim.FailBetween(clock, 2*time.Minute, 3*time.Minute, sim.ErrNACK))
	id := make([]byte, 2)
	for range 3 {
		err := bus.Tx(0x29, []byte{0x01, 0x0F}, id)
		fmt.Printf("%v %x %v\n", clock.Boot(), id, err)
		_ = clock.Sleep(context.Background(), time.Minute)
	}
	// Output:
	// 1m0s ebaa <nil>
	// 2m0s 0000 sysfs-i2c: remote I/O error
	// 3m0s ebaa <nil>
}
