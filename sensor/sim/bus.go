package sim

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"nightjar/sensor"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// The errors of a transfer, worded as periph's host/sysfs words those of the kernel's i2c-dev.
var (
	// ErrNACK: no chip acknowledged its address, or one stopped to in mid-transfer (EREMOTEIO).
	ErrNACK = errors.New("sysfs-i2c: remote I/O error")
	// ErrHeld: a line is held low, the transfer timed out (ETIMEDOUT).
	ErrHeld = errors.New("sysfs-i2c: connection timed out")
	// ErrClosed: the bus was closed.
	ErrClosed = errors.New("sysfs-i2c: file already closed")
)

// Device is a chip on a simulated bus. The bus calls one method at a time.
type Device interface {
	// Answers reports whether the chip acknowledges the address now.
	Answers(addr uint16) bool
	// Tx writes w, then fills r. An error is the transfer's: ErrNACK where the chip refuses a byte.
	Tx(addr uint16, w, r []byte) error
}

// Transfer is one transfer as the bus sees it.
type Transfer struct {
	Addr uint16
	// W was written, then R read. In Fault.Before R is the reader's buffer, of the right length.
	W, R []byte
	// N counts the bus's transfers from 1.
	N int
}

// Fault spoils transfers. A nil function spoils nothing. The functions that return a Fault are the usual ones.
type Fault struct {
	// Before is asked before the chip sees the transfer. It may return an error, which the chip then never sees, or shorten
	// and change W (a copy): half a block written, a bit flipped on the way.
	Before func(*Transfer) error
	// After may change what was read.
	After func(*Transfer)
}

// Bus is a simulated I²C bus. It implements i2c.BusCloser and is safe for concurrent use.
type Bus struct {
	mu      sync.Mutex
	name    string
	devices []Device
	faults  map[int]Fault
	nextID  int
	closed  bool
	stats   Stats
	seen    func(Transfer)
	now     Transfer // the one under way, kept here so that transfers do not allocate
	scratch []byte
	other   []byte

	arrivals sync.Mutex
}

// Stats counts what happened on a bus.
type Stats struct {
	// Transfers counts those tried, Failed those that ended in an error.
	Transfers, Failed int
	// Bits counts the bit times on the wire: nine for each byte, addresses included, one for each start and stop.
	Bits int64
}

// Busy is how long the bits occupy a bus at a speed.
func (s Stats) Busy(speed physic.Frequency) time.Duration {
	return time.Duration(s.Bits * int64(time.Second) / int64(speed/physic.Hertz))
}

// NewBus returns a bus with a name such as "I2C1" and chips attached.
func NewBus(name string, devices ...Device) *Bus {
	return &Bus{name: name, devices: devices, faults: map[int]Fault{}}
}

// Attach connects a further chip.
func (b *Bus) Attach(d Device) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.devices = append(b.devices, d)
}

// Inject adds a fault and returns what takes it away again. Faults are asked in no particular order.
func (b *Bus) Inject(f Fault) (remove func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	id := b.nextID
	b.nextID++
	b.faults[id] = f
	return func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		delete(b.faults, id)
	}
}

// Watch calls f after every transfer that succeeded. W and R are only lent. A nil f ends it.
func (b *Bus) Watch(f func(Transfer)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.seen = f
}

// Stats returns the counts since the bus was made.
func (b *Bus) Stats() Stats {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.stats
}

// Arrivals implements sensor.SharedBus.
func (b *Bus) Arrivals() *sync.Mutex { return &b.arrivals }

// String implements i2c.Bus.
func (b *Bus) String() string { return b.name }

// SetSpeed implements i2c.Bus. As on a Pi, the speed cannot be changed.
func (b *Bus) SetSpeed(physic.Frequency) error { return errors.New("sysfs-i2c: not supported") }

// Close implements i2c.BusCloser. Every transfer fails until Reopen.
func (b *Bus) Close() error { return b.setClosed(true) }

// Reopen is what opening the bus's file again does.
func (b *Bus) Reopen() error { return b.setClosed(false) }

func (b *Bus) setClosed(v bool) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.closed = v
	return nil
}

// Tx implements i2c.Bus.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	if addr >= 0x80 {
		return errors.New("sysfs-i2c: invalid address")
	}
	if len(w) == 0 && len(r) == 0 {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return ErrClosed
	}
	b.stats.Transfers++
	b.scratch = append(b.scratch[:0], w...)
	b.now = Transfer{Addr: addr, W: b.scratch, R: r, N: b.stats.Transfers}
	err := b.transfer(&b.now)
	if err != nil {
		b.stats.Failed++
		b.stats.Bits += 11 // start, address, stop
		clear(r)
		return err
	}
	b.stats.Bits += wireBits(len(w), len(r))
	if b.seen != nil {
		b.seen(b.now)
	}
	return nil
}

// transfer lets the faults and the chips have it.
func (b *Bus) transfer(t *Transfer) error {
	for _, f := range b.faults {
		if f.Before == nil {
			continue
		}
		if err := f.Before(t); err != nil {
			return err
		}
	}
	if err := b.deliver(t); err != nil {
		return err
	}
	for _, f := range b.faults {
		if f.After != nil {
			f.After(t)
		}
	}
	return nil
}

// deliver hands the transfer to every chip that answers. Two at one address both hear what is written, and what they
// say mixes as on an open-drain line: a zero wins.
func (b *Bus) deliver(t *Transfer) error {
	answered := false
	for _, d := range b.devices {
		if !d.Answers(t.Addr) {
			continue
		}
		r := t.R
		if answered {
			b.other = append(b.other[:0], t.R...)
			r = b.other
		}
		if err := d.Tx(t.Addr, t.W, r); err != nil {
			return err
		}
		if answered {
			for i := range r {
				t.R[i] &= r[i]
			}
		}
		answered = true
	}
	if !answered {
		return ErrNACK
	}
	return nil
}

// wireBits is the length of a transfer in bit times.
func wireBits(w, r int) int64 {
	n := 1 // stop
	for _, l := range []int{w, r} {
		if l > 0 {
			n += 1 + 9*(1+l) // start, address, data
		}
	}
	return int64(n)
}

// String is the transfer in hexadecimal, for the failure messages of tests.
func (t Transfer) String() string {
	return fmt.Sprintf("#%d 0x%02x w %x r %x", t.N, t.Addr, t.W, t.R)
}

var (
	_ i2c.BusCloser    = (*Bus)(nil)
	_ sensor.SharedBus = (*Bus)(nil)
)
