package sensor

import (
	"errors"
	"strings"
	"syscall"
)

// i2cErrors says what the kernel's errors of a transfer mean. periph's host/sysfs prints the error number into its text
// (with %v), so that only the text can be told apart; the numbers are for transports that keep them. The longer of two
// texts that begin alike stands first. Meanings: the kernel's Documentation/i2c/fault-codes.rst.
var i2cErrors = []struct {
	text  string
	errno syscall.Errno
	class error
}{
	{"remote I/O error", 121, ErrAbsent},             // EREMOTEIO: no acknowledge, as i2c-bcm2835 has it
	{"no such device or address", 6, ErrAbsent},      // ENXIO: no acknowledge of the address
	{"no such device", 19, ErrBus},                   // ENODEV: the controller is gone
	{"connection timed out", 110, ErrBus},            // ETIMEDOUT: a line held low, or a controller that hangs
	{"resource temporarily unavailable", 11, ErrBus}, // EAGAIN: arbitration lost
	{"device or resource busy", 16, ErrBus},          // EBUSY: a kernel driver owns the address
}

// ClassifyI2C returns the sentinel that an error of an I²C transfer comes under: ErrAbsent if nothing acknowledged,
// ErrBus for everything else, nil for nil.
func ClassifyI2C(err error) error {
	if err == nil {
		return nil
	}
	for _, class := range []error{ErrAbsent, ErrBus} {
		if errors.Is(err, class) { // a bus of ours has classed it
			return class
		}
	}
	for _, e := range i2cErrors {
		if errors.Is(err, e.errno) || strings.Contains(err.Error(), e.text) {
			return e.class
		}
	}
	return ErrBus
}
