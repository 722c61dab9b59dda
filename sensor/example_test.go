package sensor_test

import (
	"errors"
	"fmt"

	"nightjar/sensor"
)

// A bus reports a transfer that nobody acknowledged. What stands in the reading is the class of the error.
func ExampleFault() {
	transfer := errors.New("sysfs-i2c: remote I/O error")
	err := fmt.Errorf("read result: %w: %w", sensor.ClassifyI2C(transfer), transfer)
	fmt.Println(err)
	fmt.Println(sensor.Fault(err))
	// Output:
	// read result: no answer: sysfs-i2c: remote I/O error
	// absent
}
