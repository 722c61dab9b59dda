package detect

import (
	"errors"
	"fmt"

	"nightjar/sensor"

	"periph.io/x/conn/v3/i2c"
)

// asker reads registers of a chip that is not known yet. It keeps what it hands to the bus.
type asker struct {
	bus  i2c.Bus
	addr uint16
	out  [2]byte
	in   [3]byte
}

// ask writes an index of one or two bytes and reads n bytes.
func (a *asker) ask(n int, index ...byte) ([]byte, error) {
	copy(a.out[:], index)
	clear(a.in[:])
	err := a.bus.Tx(a.addr, a.out[:len(index)], a.in[:n])
	return a.in[:n], err
}

// Chip tells which ranger answers at an address of a bus: vl53l0x, vl53l1x, vl53l4cd or vl6180x. ErrAbsent: nothing
// answers. ErrIdentity: something else does. ErrBus: the bus does not move.
//
// The VL53L0X is asked first. It has indices of one byte, which the others take for half an index and forget; the other
// way round it would take the second byte of an index for a value to write.
func Chip(bus i2c.Bus, addr uint16) (string, error) {
	a := &asker{bus: bus, addr: addr}
	for _, who := range []func() (string, error){a.narrow, a.wide} {
		name, err := who()
		if err != nil {
			return "", fmt.Errorf("ask who is at 0x%02x of %v: %w: %w", addr, bus, sensor.ClassifyI2C(err), err)
		}
		if name != "" {
			return name, nil
		}
	}
	return "", fmt.Errorf("what answers at 0x%02x of %v is no ranger that is known: %w", addr, bus, sensor.ErrIdentity)
}

// narrow knows the VL53L0X, also one that was left on another page of its registers, or in reset by its register, when it
// reads as zeros. What is written for that is half an index to the others.
func (a *asker) narrow() (string, error) {
	for range 10 { // reads, of which a chip that is let go needs two or three to boot
		id, err := a.ask(3, 0xC0)
		switch {
		case errors.Is(sensor.ClassifyI2C(err), sensor.ErrBus):
			return "", err
		case err != nil:
			continue
		case id[0] == 0xEE && id[1] == 0xAA && id[2] == 0x10:
			return "vl53l0x", nil
		}
		left, err := a.left(id[0] == 0 && id[1] == 0 && id[2] == 0)
		if err != nil || !left {
			return "", err
		}
	}
	return "", nil
}

// left brings a VL53L0X that may have been left in mid set-up back to where it can say who it is. It reports false if it
// cannot be one.
func (a *asker) left(zeros bool) (bool, error) {
	page, err := a.ask(1, 0xFF)
	if err != nil {
		return true, nil // the next question shows whether it is there at all
	}
	if page[0] != 0 && page[0] != 1 && page[0] != 6 && page[0] != 7 || page[0] == 0 && !zeros {
		return false, nil
	}
	a.out = [2]byte{0xFF, 0}
	if page[0] == 0 {
		a.out = [2]byte{0xBF, 1}
	}
	return true, a.bus.Tx(a.addr, a.out[:], nil)
}

// wide knows those with indices of two bytes.
func (a *asker) wide() (string, error) {
	id, err := a.ask(2, 0x01, 0x0F)
	if err != nil {
		return "", err
	}
	switch uint16(id[0])<<8 | uint16(id[1]) {
	case 0xEBAA:
		return "vl53l4cd", nil
	case 0xEACC:
		return "vl53l1x", nil
	}
	id, err = a.ask(1, 0x00, 0x00)
	if err == nil && id[0] == 0xB4 {
		return "vl6180x", nil
	}
	return "", err
}
