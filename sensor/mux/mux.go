// Package mux reaches I²C chips behind a TCA9548A multiplexer, or its kin PCA9548A, as if each of its eight channels were a
// bus of its own.
//
// # Concepts
//
// A Mux sits on a bus at an address of its own, 0x70 to 0x77, and connects the channels whose bits are set in its one
// register (TI data sheet SCPS207). Channel gives one as an i2c.Bus: before each transfer the multiplexer is switched if it
// stands elsewhere, and asked whether it did, because a garbled switch would have another station's ranger answer. Root is
// the bus itself with all channels off, for chips beside the multiplexer whose address is also on a channel.
//
// # Traps
//
// All use of the bus must go through one Mux: another program, or a second Mux at the same address, moves the switch
// unseen. A chip that holds the lines of a channel low while that is connected holds the whole bus; only the
// multiplexer's RESET line frees it then.
package mux

import (
	"fmt"
	"sync"

	"nightjar/sensor"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// The addresses that a multiplexer can have, by its three address lines.
const (
	FirstAddr = 0x70
	LastAddr  = 0x77
	// Channels is how many channels it has.
	Channels = 8
)

// Mux is a multiplexer. It is safe for concurrent use; transfers take turns.
type Mux struct {
	bus  i2c.Bus
	addr uint16

	mu    sync.Mutex
	known bool // the register is as below
	state byte
	out   [1]byte
	in    [1]byte

	arrivals sync.Mutex
}

// New returns the multiplexer at an address of a bus. Nothing is asked of it yet. It returns an error for an address that
// none can have.
func New(b i2c.Bus, addr uint16) (*Mux, error) {
	if addr < FirstAddr || addr > LastAddr {
		return nil, fmt.Errorf("multiplexer at 0x%02x: must be 0x%02x to 0x%02x", addr, FirstAddr, LastAddr)
	}
	return &Mux{bus: b, addr: addr}, nil
}

// Channel returns a channel, 0 to 7, as a bus. It returns an error for any other number.
func (m *Mux) Channel(n int) (i2c.Bus, error) {
	if n < 0 || n >= Channels {
		return nil, fmt.Errorf("channel %d of the multiplexer at 0x%02x: must be 0 to %d", n, m.addr, Channels-1)
	}
	return &channel{mux: m, state: 1 << n, name: fmt.Sprintf("%v channel %d of 0x%02x", m.bus, n, m.addr)}, nil
}

// Root returns the bus that the multiplexer is on, with all channels off while a transfer lasts.
func (m *Mux) Root() i2c.Bus { return &channel{mux: m, name: fmt.Sprint(m.bus)} }

// String is the multiplexer and where it is.
func (m *Mux) String() string { return fmt.Sprintf("multiplexer at 0x%02x of %v", m.addr, m.bus) }

// channel is a state of the multiplexer as a bus.
type channel struct {
	mux   *Mux
	state byte
	name  string
}

// String implements i2c.Bus.
func (c *channel) String() string { return c.name }

// Arrivals implements sensor.SharedBus. All channels and the root share it, which costs them some milliseconds at most.
func (c *channel) Arrivals() *sync.Mutex { return &c.mux.arrivals }

// SetSpeed implements i2c.Bus: it is the whole bus's.
func (c *channel) SetSpeed(f physic.Frequency) error { return c.mux.bus.SetSpeed(f) }

// Tx implements i2c.Bus.
func (c *channel) Tx(addr uint16, w, r []byte) error {
	m := c.mux
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.known || m.state != c.state {
		if err := m.connect(c.state); err != nil {
			clear(r)
			return err
		}
	}
	err := m.bus.Tx(addr, w, r)
	if err != nil {
		m.known = false // perhaps it lost its power and stands elsewhere
	}
	return err
}

// connect switches the multiplexer and asks whether it did.
func (m *Mux) connect(state byte) error {
	m.known = false
	m.out[0] = state
	if err := m.bus.Tx(m.addr, m.out[:], nil); err != nil {
		return fmt.Errorf("switch the %v: %w", m, err)
	}
	if err := m.bus.Tx(m.addr, nil, m.in[:]); err != nil {
		return fmt.Errorf("ask the %v: %w", m, err)
	}
	if m.in[0] != state {
		return fmt.Errorf("switch the %v: it says %02x after %02x was written", m, m.in[0], state)
	}
	m.known, m.state = true, state
	return nil
}

var (
	_ i2c.Bus          = (*channel)(nil)
	_ sensor.SharedBus = (*channel)(nil)
)
