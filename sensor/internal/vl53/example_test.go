package vl53_test

import (
	"fmt"

	"nightjar/sensor/internal/vl53"
)

func ExampleDecode() {
	// From recorded traffic: the status with an upper bit set, 48 receivers, 123 mm.
	r, err := vl53.Decode([]byte{0x69, 0, 5, 0x30, 0, 2, 0x80, 0, 0x10, 0, 8, 1, 0x40, 0, 0x7B})
	fmt.Println(r.Sample().Status, r.SPADs, r.SignalMcps, r.SigmaMM, r.RangeMM, err)
	// Output: good 48 5 2 123 <nil>
}
