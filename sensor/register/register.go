// Package register reads and writes the registers of an I²C chip by index, one byte or two bytes wide, most significant
// byte first, as the time-of-flight chips have them.
//
// Every error of the bus comes back wrapped with what was being done, the chip and its address, and one of package sensor's
// sentinels: "read result of VL53L4CD at 0x29: no answer: sysfs-i2c: remote I/O error".
//
// # Traps
//
// A Dev keeps the buffers that it hands to the bus for as long as it lives: periph's host/sysfs hands their addresses to
// the kernel as plain numbers, which the garbage collector does not see. For the same reason the slice given to Read
// should be part of something long-lived. A Dev must not be used by two goroutines at once.
package register

import (
	"encoding/binary"
	"fmt"

	"nightjar/sensor"

	"periph.io/x/conn/v3/i2c"
)

// Dev is a chip on a bus as a file of registers.
type Dev struct {
	bus  i2c.Bus
	addr uint16
	chip string
	wide bool
	out  []byte
	in   [4]byte
}

// Narrow returns a chip whose register index is one byte.
func Narrow(b i2c.Bus, addr uint16, chip string) *Dev { return &Dev{bus: b, addr: addr, chip: chip} }

// Wide returns a chip whose register index is two bytes.
func Wide(b i2c.Bus, addr uint16, chip string) *Dev {
	return &Dev{bus: b, addr: addr, chip: chip, wide: true}
}

// String is the chip and where it is: "VL53L4CD at 0x29".
func (d *Dev) String() string { return fmt.Sprintf("%s at 0x%02x", d.chip, d.addr) }

// Bus is the bus that the chip is on.
func (d *Dev) Bus() i2c.Bus { return d.bus }

// Addr is the chip's address.
func (d *Dev) Addr() uint16 { return d.addr }

// SetAddr makes the Dev talk to another address from now on. It does not tell the chip.
func (d *Dev) SetAddr(addr uint16) { d.addr = addr }

// Errorf makes an error about the chip: operation, object, sentinel and detail.
func (d *Dev) Errorf(op string, sentinel error, format string, args ...any) error {
	return fmt.Errorf("%s of %v: %w: "+format, append([]any{op, d, sentinel}, args...)...)
}

// index puts the register's index into the empty output buffer.
func (d *Dev) index(reg uint16) {
	d.out = d.out[:0]
	if d.wide {
		d.out = append(d.out, byte(reg>>8))
	}
	d.out = append(d.out, byte(reg))
}

// Read fills b from the register on. op says what for: "read result".
func (d *Dev) Read(op string, reg uint16, b []byte) error {
	d.index(reg)
	return d.check(op, d.bus.Tx(d.addr, d.out, b))
}

// Write writes bytes from the register on, in one message.
func (d *Dev) Write(op string, reg uint16, b ...byte) error {
	d.index(reg)
	d.out = append(d.out, b...)
	return d.check(op, d.bus.Tx(d.addr, d.out, nil))
}

// Read8 reads one byte.
func (d *Dev) Read8(op string, reg uint16) (uint8, error) {
	err := d.Read(op, reg, d.in[:1])
	return d.in[0], err
}

// Read16 reads two bytes.
func (d *Dev) Read16(op string, reg uint16) (uint16, error) {
	err := d.Read(op, reg, d.in[:2])
	return binary.BigEndian.Uint16(d.in[:]), err
}

// Read32 reads four bytes.
func (d *Dev) Read32(op string, reg uint16) (uint32, error) {
	err := d.Read(op, reg, d.in[:4])
	return binary.BigEndian.Uint32(d.in[:]), err
}

// Write16 writes two bytes.
func (d *Dev) Write16(op string, reg uint16, v uint16) error {
	return d.Write(op, reg, byte(v>>8), byte(v))
}

// Write32 writes four bytes.
func (d *Dev) Write32(op string, reg uint16, v uint32) error {
	return d.Write(op, reg, byte(v>>24), byte(v>>16), byte(v>>8), byte(v))
}

// Update reads a byte, keeps the bits of mask, sets those of bits, and writes it back.
func (d *Dev) Update(op string, reg uint16, mask, bits byte) error {
	v, err := d.Read8(op, reg)
	if err != nil {
		return err
	}
	return d.Write(op, reg, v&mask|bits)
}

// check wraps an error of the bus.
func (d *Dev) check(op string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s of %v: %w: %w", op, d, sensor.ClassifyI2C(err), err)
}
