package sim

import (
	"errors"
	"fmt"

	"sync"
)

// TCA9548A is a simulated I²C multiplexer (TI data sheet SCPS207): one register, a bit for each of eight channels, all off
// after power.
type TCA9548A struct {
	addr     uint16
	channels [8]*Bus

	mu       sync.Mutex
	selected byte
}

// NewTCA9548A returns a simulated multiplexer at an address, with nothing on its channels.
func NewTCA9548A(addr uint16) *TCA9548A {
	m := &TCA9548A{addr: addr}
	for i := range m.channels {
		m.channels[i] = NewBus(fmt.Sprintf("0x%02x/%d", addr, i))
	}
	return m
}

// Channel is the bus of a channel, to attach chips and faults to.
func (m *TCA9548A) Channel(n int) *Bus { return m.channels[n] }

// Brownout is a short dip of the supply: all channels are off.
func (m *TCA9548A) Brownout() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.selected = 0
}

// Answers implements Device: for its own address, and for those of the chips on the channels that are on.
func (m *TCA9548A) Answers(addr uint16) bool {
	if addr == m.addr {
		return true
	}
	for _, b := range m.on() {
		if b.answers(addr) {
			return true
		}
	}
	return false
}

// on lists the channels that are on.
func (m *TCA9548A) on() []*Bus {
	m.mu.Lock()
	defer m.mu.Unlock()
	var on []*Bus
	for i, b := range m.channels {
		if m.selected>>i&1 != 0 {
			on = append(on, b)
		}
	}
	return on
}

// Tx implements Device. A zero wins where two channels answer.
func (m *TCA9548A) Tx(addr uint16, w, r []byte) error {
	if addr == m.addr {
		m.own(w, r)
		return nil
	}
	answered := false
	for _, b := range m.on() {
		one := make([]byte, len(r))
		err := b.Tx(addr, w, one)
		if errors.Is(err, ErrNACK) {
			continue
		}
		if err != nil {
			return err
		}
		for i := range r {
			if answered {
				one[i] &= r[i]
			}
			r[i] = one[i]
		}
		answered = true
	}
	if !answered {
		return ErrNACK
	}
	return nil
}

// own is a transfer with the multiplexer itself: the last byte written stands.
func (m *TCA9548A) own(w, r []byte) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(w) > 0 {
		m.selected = w[len(w)-1]
	}
	for i := range r {
		r[i] = m.selected
	}
}

// answers reports whether some chip on the bus acknowledges an address.
func (b *Bus) answers(addr uint16) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, d := range b.devices {
		if d.Answers(addr) {
			return true
		}
	}
	return false
}

var _ Device = (*TCA9548A)(nil)
