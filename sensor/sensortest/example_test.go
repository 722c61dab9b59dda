package sensortest_test

import (
	"fmt"

	"nightjar/sensor/sensortest"
)

// A block write counts as writes of single registers, whichever way a driver splits them.
func ExampleSplit() {
	fmt.Println(sensortest.Split([]byte{0x00, 0x5E, 0x03, 0xF9}, 2))
	// Output: [005e03 005ff9]
}
