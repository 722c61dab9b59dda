package tof_test

import (
	"context"
	"fmt"
	"time"

	"nightjar/rise"
	"nightjar/sensor/internal/tof"
	"nightjar/sensor/register"
	"nightjar/sensor/sim"
)

// A chip of two registers: it says who it is, and ranges without being started.
func Example() {
	clock := sim.NewClock(time.Date(2026, 3, 6, 20, 0, 0, 0, time.UTC), time.Minute)
	reg := register.Narrow(sim.NewBus("I2C1", twoRegisters{}), 0x29, "toy")
	nothing := func() error { return nil }
	var block [2]byte
	d, err := tof.Make(reg, tof.Ops{
		Identify: func() error { _, err := reg.Read8("read identity", 0); return err },
		Reset:    func(context.Context) error { return nil },
		Booted:   func() (bool, error) { v, err := reg.Read8("read identity", 0); return v != 0, err },
		Move:     func(byte) error { return nil },
		SetUp:    func(context.Context) error { return nil },
		Intact:   func() (bool, error) { return true, nil },
		Start:    nothing, Stop: nothing,
		Ready:  func() (bool, error) { return true, nil },
		Take:   func() error { block[1]++; return reg.Read("read result", 1, block[:1]) },
		Block:  block[:],
		Sample: func() tof.Result { return tof.Result{Sample: rise.Sample{RangeMM: float64(block[0])}, SPADs: 1} },
	}, tof.Config{Clock: clock, Budget: 20 * time.Millisecond})
	if err != nil {
		fmt.Println(err)
		return
	}
	began := clock.Boot()
	b, err := d.Range(context.Background(), 10)
	fmt.Println(b.RangeMM, b.Valid, err, clock.Boot()-began)
	// Output: 99 10 <nil> 210ms
}

// twoRegisters is a sim.Device that answers every read with 99.
type twoRegisters struct{}

func (twoRegisters) Answers(addr uint16) bool { return addr == 0x29 }

func (twoRegisters) Tx(_ uint16, _, r []byte) error {
	for i := range r {
		r[i] = 99
	}
	return nil
}
