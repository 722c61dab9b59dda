// Package i2cbus opens the I²C buses of a Linux machine and opens them again when they fail.
//
// It uses periph's host/sysfs for the transfers and never periph's host.Init, which looks for buses once in the life of a
// process and touches pins that are none of a daemon's business.
//
// # Traps
//
// host/sysfs says in words only what went wrong; see sensor.ClassifyI2C. A transfer under way cannot be cancelled: the
// kernel's driver gives up by itself, on a Raspberry Pi after about a second.
package i2cbus

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"sync"

	"nightjar/sensor"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/host/v3/sysfs"
)

// Bus is one of the machine's I²C buses, /dev/i2c-N. It is opened by the first transfer, closed when a transfer fails in a
// way that is the bus's own fault, and opened again by the next. It is safe for concurrent use; a failure seen by one chip's
// driver costs the others on the bus nothing.
type Bus struct {
	mu     sync.Mutex
	number int
	open   func(int) (i2c.BusCloser, error)
	file   i2c.BusCloser // nil while it is closed
	ended  bool

	arrivals sync.Mutex
}

// New returns the bus with the number N of /dev/i2c-N, on a Raspberry Pi 1 for the pins 3 and 5 of the header. It is not
// opened yet.
func New(number int) *Bus { return &Bus{number: number, open: openSysfs} }

func openSysfs(number int) (i2c.BusCloser, error) { return sysfs.NewI2C(number) }

// String implements i2c.Bus.
func (b *Bus) String() string { return fmt.Sprintf("I2C%d", b.number) }

// Arrivals implements sensor.SharedBus.
func (b *Bus) Arrivals() *sync.Mutex { return &b.arrivals }

// SetSpeed implements i2c.Bus. The speed of a Pi's bus is set in its boot configuration only.
func (b *Bus) SetSpeed(physic.Frequency) error {
	return errors.New("the bus's speed is set by dtparam=i2c_arm_baudrate in config.txt")
}

// Tx implements i2c.Bus. An error wraps sensor.ErrAbsent or sensor.ErrBus; where the bus cannot be opened it is an
// *OpenError.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.ensure(); err != nil {
		return err
	}
	err := b.file.Tx(addr, w, r)
	if err == nil {
		return nil
	}
	class := sensor.ClassifyI2C(err)
	if errors.Is(class, sensor.ErrBus) {
		// What closing says does not matter: the file is given up because it fails.
		_ = b.file.Close()
		b.file = nil
	}
	return fmt.Errorf("%w: %w", class, err)
}

// Check opens the bus if it is not open and tells why it cannot be.
func (b *Bus) Check() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.ensure()
}

// ensure opens the bus if it is not open.
func (b *Bus) ensure() error {
	if b.ended {
		return fmt.Errorf("%v: %w: %w", b, sensor.ErrBus, fs.ErrClosed)
	}
	if b.file != nil {
		return nil
	}
	file, err := b.open(b.number)
	if err != nil {
		return &OpenError{Bus: b.number, Err: err}
	}
	b.file = file
	return nil
}

// Close implements i2c.BusCloser. The bus is not opened again. Closing it twice is harmless.
func (b *Bus) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ended = true
	if b.file == nil {
		return nil
	}
	file := b.file
	b.file = nil
	if err := file.Close(); err != nil {
		return fmt.Errorf("close %v: %w", b, err)
	}
	return nil
}

// OpenError is why a bus cannot be opened. It is a sensor.ErrBus, and fs.ErrNotExist or fs.ErrPermission where that is
// the cause.
type OpenError struct {
	// Bus is the N of /dev/i2c-N.
	Bus int
	// Err is what the system said.
	Err error
}

// cause is the error's cause: host/sysfs keeps the system's words but not its error.
func (e *OpenError) cause() error {
	for _, c := range []struct {
		text  string
		cause error
	}{{"no such file or directory", fs.ErrNotExist}, {"permission denied", fs.ErrPermission}} {
		if errors.Is(e.Err, c.cause) || strings.Contains(e.Err.Error(), c.text) {
			return c.cause
		}
	}
	return nil
}

// Error implements error.
func (e *OpenError) Error() string {
	switch e.cause() {
	case fs.ErrNotExist:
		return fmt.Sprintf("open I2C bus %d: there is no /dev/i2c-%d", e.Bus, e.Bus)
	case fs.ErrPermission:
		return fmt.Sprintf("open I2C bus %d: not allowed to open /dev/i2c-%d", e.Bus, e.Bus)
	}
	return fmt.Sprintf("open I2C bus %d: %v", e.Bus, e.Err)
}

// Hint says what to do about it.
func (e *OpenError) Hint() string {
	switch e.cause() {
	case fs.ErrNotExist:
		return "enable the bus: write dtparam=i2c_arm=on into /boot/firmware/config.txt (older systems: /boot/config.txt), " +
			"have the module i2c-dev loaded, and restart; or name the right bus in the configuration"
	case fs.ErrPermission:
		return "put the user that runs nightjar into the group i2c: sudo usermod -aG i2c USER"
	}
	return "look into the kernel's messages: dmesg | grep i2c"
}

// Unwrap makes the error match its class and its cause.
func (e *OpenError) Unwrap() []error {
	all := []error{sensor.ErrBus, e.Err}
	if c := e.cause(); c != nil {
		all = append(all, c)
	}
	return all
}

var (
	_ i2c.BusCloser    = (*Bus)(nil)
	_ sensor.SharedBus = (*Bus)(nil)
)
