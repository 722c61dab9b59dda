// Package detect finds what is connected to a machine: rangers on its I²C buses and behind multiplexers by their identity
// registers, probes on its 1-wire bus, and what drivers of the kernel show. From that it proposes the lines of a
// configuration.
//
// # Concepts
//
// Scan asks the address at which every ranger wakes, 0x29, and those that it is told, and no others: a question is a short
// write, and to a chip that is none of ours it may mean anything. Multiplexers are told by whether they keep what is
// written to them; each channel is then asked too, and the multiplexer is left with all channels off.
//
// # Traps
//
// A ranger beside a multiplexer, at an address that is also on a channel, answers together with the one behind it; such a
// channel cannot be seen, which is said. Do not scan a bus that a running daemon uses.
package detect

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"nightjar/sensor"
	"nightjar/sensor/mux"

	"periph.io/x/conn/v3/i2c"
)

// DefaultAddr is where every supported ranger wakes.
const DefaultAddr = 0x29

// Place is where on a machine a chip is.
type Place struct {
	// Bus is the N of /dev/i2c-N.
	Bus int `json:"bus"`
	// Mux is the address of the multiplexer before it, 0 for none, and Channel the channel.
	Mux     uint16 `json:"mux,omitempty"`
	Channel int    `json:"channel,omitempty"`
	Address uint16 `json:"address"`
}

// String is the place for people: "0x29 on bus 1, channel 3 of the multiplexer at 0x70".
func (p Place) String() string {
	s := fmt.Sprintf("0x%02x on bus %d", p.Address, p.Bus)
	if p.Mux != 0 {
		s += fmt.Sprintf(", channel %d of the multiplexer at 0x%02x", p.Channel, p.Mux)
	}
	return s
}

// Found is something that answered.
type Found struct {
	Place
	// Chip is the ranger, as a configuration names it; "" is something else, or several at once.
	Chip string `json:"chip,omitempty"`
	// Note says for people what is odd about it; "" is nothing.
	Note string `json:"note,omitempty"`
}

// Bus is what one bus was found to hold.
type Bus struct {
	Number int `json:"number"`
	// Muxes are the addresses of multiplexers, Found the rangers and strangers, in order.
	Muxes []uint16 `json:"muxes,omitempty"`
	Found []Found  `json:"found,omitempty"`
	// Trouble is why the bus could not be looked at, for people; "" is none.
	Trouble string `json:"trouble,omitempty"`
}

// Scan looks at a bus: at 0x29 and at further addresses where rangers may have been moved to. An error of the bus itself ends it
// and stands in Trouble.
func Scan(bus i2c.Bus, number int, further ...uint16) Bus {
	s := scan{bus: bus, out: Bus{Number: number}, addrs: []uint16{DefaultAddr}}
	for _, a := range further {
		if !slices.Contains(s.addrs, a) && (a < mux.FirstAddr || a > mux.LastAddr) {
			s.addrs = append(s.addrs, a)
		}
	}
	slices.Sort(s.addrs)
	err := s.muxes()
	if err == nil {
		err = s.level(bus, Place{Bus: number})
	}
	for _, addr := range s.out.Muxes {
		if err == nil {
			err = s.behind(addr)
		}
	}
	if err != nil {
		s.out.Trouble = err.Error()
	}
	return s.out
}

// scan is a scan under way.
type scan struct {
	bus   i2c.Bus
	addrs []uint16
	out   Bus
}

// muxes finds the multiplexers and leaves them with all channels off.
func (s *scan) muxes() error {
	for addr := uint16(mux.FirstAddr); addr <= mux.LastAddr; addr++ {
		is, err := isMux(s.bus, addr)
		if err != nil {
			return err
		}
		if is {
			s.out.Muxes = append(s.out.Muxes, addr)
		}
	}
	return nil
}

// isMux reports whether what is at an address keeps three patterns that it is given, as only a register without meaning
// does. The last one switches all channels off.
func isMux(bus i2c.Bus, addr uint16) (bool, error) {
	var b [1]byte
	for _, pattern := range []byte{0x81, 0x42, 0x00} {
		b[0] = pattern
		err := bus.Tx(addr, b[:], nil)
		if err == nil {
			err = bus.Tx(addr, nil, b[:])
		}
		switch {
		case errors.Is(sensor.ClassifyI2C(err), sensor.ErrAbsent):
			return false, nil
		case err != nil:
			return false, fmt.Errorf("ask 0x%02x of %v: %w: %w", addr, bus, sensor.ClassifyI2C(err), err)
		case b[0] != pattern:
			return false, nil
		}
	}
	return true, nil
}

// level looks at the addresses of one bus or channel.
func (s *scan) level(bus i2c.Bus, at Place) error {
	for _, addr := range s.addrs {
		at.Address = addr
		chip, err := Chip(bus, addr)
		switch {
		case err == nil:
			s.out.Found = append(s.out.Found, Found{Place: at, Chip: chip})
		case errors.Is(err, sensor.ErrIdentity):
			s.out.Found = append(s.out.Found, Found{Place: at, Note: "no ranger that is known, or several at once"})
		case !errors.Is(err, sensor.ErrAbsent):
			return err
		}
	}
	return nil
}

// behind looks at the channels of a multiplexer. Addresses that are taken on the bus itself hide what is behind it.
func (s *scan) behind(addr uint16) error {
	m, err := mux.New(s.bus, addr)
	if err != nil {
		return err
	}
	all := s.addrs
	defer func() { s.addrs = all }()
	s.addrs = slices.DeleteFunc(slices.Clone(all), s.hides)
	for n := range mux.Channels {
		ch, err := m.Channel(n)
		if err == nil {
			err = s.level(ch, Place{Bus: s.out.Number, Mux: addr, Channel: n})
		}
		if err != nil {
			return fmt.Errorf("channel %d of the multiplexer at 0x%02x: %w", n, addr, err)
		}
	}
	_, err = isMux(s.bus, addr) // all channels off
	return err
}

// hides notes that what is at an address of the bus itself hides what is behind a multiplexer, and reports whether it
// does.
func (s *scan) hides(addr uint16) bool {
	for i, f := range s.out.Found {
		if f.Mux == 0 && f.Address == addr {
			s.out.Found[i].Note = "hides what is behind the multiplexer at the same address: move it to a channel of its own"
			return true
		}
	}
	return false
}

// order sorts by place.
func order(a, b Found) int {
	return cmp.Or(cmp.Compare(a.Bus, b.Bus), cmp.Compare(a.Mux, b.Mux), cmp.Compare(a.Channel, b.Channel), cmp.Compare(a.Address, b.Address))
}
