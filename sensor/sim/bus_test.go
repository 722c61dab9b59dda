package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// echo is a Device that answers one address with a constant and keeps what was written.
type echo struct {
	addr  uint16
	value byte
	wrote []byte
}

func (e *echo) Answers(addr uint16) bool { return addr == e.addr }

func (e *echo) Tx(_ uint16, w, r []byte) error {
	e.wrote = append(e.wrote[:0], w...)
	for i := range r {
		r[i] = e.value
	}
	return nil
}

func TestBusCountsBits(t *testing.T) {
	t.Parallel()
	b := NewBus("I2C1", &echo{addr: 0x29})
	require.NoError(t, b.Tx(0x29, []byte{0, 0x89}, make([]byte, 15)))
	// NXP UM10204, section 3.1: start, 7 address bits + R/W + ACK, 8 bits + ACK a byte, repeated start, stop.
	want := int64(1 + 9 + 2*9 + 1 + 9 + 15*9 + 1)
	assert.Equal(t, want, b.Stats().Bits)
	assert.Equal(t, time.Duration(want)*10*time.Microsecond, b.Stats().Busy(100*physic.KiloHertz))
}

func TestBusWithoutAChipThereNACKs(t *testing.T) {
	t.Parallel()
	b := NewBus("I2C1", &echo{addr: 0x30, value: 7})
	r := []byte{1}
	require.ErrorIs(t, b.Tx(0x29, []byte{0}, r), ErrNACK)
	assert.Equal(t, []byte{0}, r, "a failed transfer leaves nothing that could pass for an answer")
	assert.Equal(t, 1, b.Stats().Failed)
	require.Error(t, b.Tx(0x80, []byte{0}, r))
}

func TestBusMixesTwoChipsAtOneAddress(t *testing.T) {
	t.Parallel()
	one, two := &echo{addr: 0x29, value: 0xF0}, &echo{addr: 0x29, value: 0xCC}
	b := NewBus("I2C1", one, two)
	r := make([]byte, 2)
	require.NoError(t, b.Tx(0x29, []byte{5}, r))
	assert.Equal(t, []byte{0xC0, 0xC0}, r)
	assert.Equal(t, one.wrote, two.wrote)
}

func TestBusFaults(t *testing.T) {
	t.Parallel()
	clock := NewClock(evening, 0)
	tests := []struct {
		name  string
		fault Fault
		want  []error // of each transfer, ten seconds apart
		read  []byte  // first byte that each read
		wrote []int   // bytes that reached the chip
	}{
		{"none", Fault{}, []error{nil, nil, nil}, []byte{0xAA, 0xAA, 0xAA}, []int{3, 3, 3}},
		{"second fails", FailNth(2, ErrNACK), []error{nil, ErrNACK, nil}, []byte{0xAA, 0, 0xAA}, []int{3, 0, 3}},
		{"held for ten seconds", FailBetween(clock, 5*time.Second, 15*time.Second, ErrHeld),
			[]error{nil, ErrHeld, nil}, []byte{0xAA, 0, 0xAA}, []int{3, 0, 3}},
		{"bit flipped", FlipRead(3, 7), []error{nil, nil, nil}, []byte{0xAA, 0xAA, 0xAB}, []int{3, 3, 3}},
		{"half a write", CutWrite(2), []error{nil, nil, nil}, []byte{0xAA, 0xAA, 0xAA}, []int{2, 3, 3}},
	}
	for _, tt := range tests {
		clock.boot = 0
		chip := &echo{addr: 0x29, value: 0xAA}
		b := NewBus("I2C1", chip)
		remove := b.Inject(tt.fault)
		for i, want := range tt.want {
			chip.wrote = chip.wrote[:0]
			r := make([]byte, 1)
			require.ErrorIs(t, b.Tx(0x29, []byte{0, 1, 2}, r), want, tt.name)
			assert.Equal(t, tt.read[i], r[0], tt.name)
			assert.Len(t, chip.wrote, tt.wrote[i], tt.name)
			require.NoError(t, clock.Sleep(t.Context(), 10*time.Second))
		}
		remove()
		assert.NoError(t, b.Tx(0x29, []byte{0}, nil), tt.name)
	}
}

func TestBusFrozenReadsRepeat(t *testing.T) {
	t.Parallel()
	chip := &echo{addr: 0x29, value: 1}
	b := NewBus("I2C1", chip)
	b.Inject(FreezeReads())
	r := make([]byte, 1)
	for range 3 {
		require.NoError(t, b.Tx(0x29, []byte{0}, r))
		assert.Equal(t, byte(1), r[0])
		chip.value++
	}
}

func TestBusFlippedWrite(t *testing.T) {
	t.Parallel()
	chip := &echo{addr: 0x29}
	b := NewBus("I2C1", chip)
	b.Inject(FlipWrite(1, 8))
	w := []byte{0, 0}
	require.NoError(t, b.Tx(0x29, w, nil))
	assert.Equal(t, []byte{0, 0x80}, chip.wrote)
	assert.Equal(t, []byte{0, 0}, w, "the caller's buffer is not touched")
}

func TestBusClosed(t *testing.T) {
	t.Parallel()
	b := NewBus("I2C1", &echo{addr: 0x29})
	require.NoError(t, b.Close())
	require.ErrorIs(t, b.Tx(0x29, []byte{0}, nil), ErrClosed)
	require.NoError(t, b.Reopen())
	require.NoError(t, b.Tx(0x29, []byte{0}, nil))
}
