package mux_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/mux"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
)

// stand is two chips at the same address on channels 1 and 6 of a multiplexer.
type stand struct {
	clock *sim.Clock
	bus   *sim.Bus
	chip  *sim.TCA9548A
	mux   *mux.Mux
}

func newStand(t testing.TB) *stand {
	t.Helper()
	s := &stand{clock: sim.NewClock(time.Unix(0, 0), time.Minute), chip: sim.NewTCA9548A(0x71)}
	s.chip.Channel(1).Attach(sim.NewVL53L4CD(s.clock, sim.Card(80), sim.ChipOpts{Seed: 1}))
	s.chip.Channel(6).Attach(sim.NewVL53L4CD(s.clock, sim.Card(160), sim.ChipOpts{Seed: 2}))
	s.bus = sim.NewBus("I2C1", s.chip)
	var err error
	s.mux, err = mux.New(s.bus, 0x71)
	require.NoError(t, err)
	return s
}

func (s *stand) channel(t testing.TB, n int) i2c.Bus {
	t.Helper()
	b, err := s.mux.Channel(n)
	require.NoError(t, err)
	return b
}

func (s *stand) ranger(t testing.TB, n int) sensor.Ranger {
	t.Helper()
	d, err := vl53l4cd.New(s.channel(t, n), 0x29, &vl53l4cd.Opts{Clock: s.clock, Budget: 20 * time.Millisecond})
	require.NoError(t, err)
	return d
}

func millimetres(t testing.TB, d sensor.Ranger) float64 {
	t.Helper()
	b, err := d.Range(context.Background(), 10)
	require.NoError(t, err)
	return b.RangeMM.Or(0)
}

func TestEachChannelIsABusOfItsOwn(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	one, six := s.ranger(t, 1), s.ranger(t, 6)
	for range 3 {
		assert.InDelta(t, 80, millimetres(t, one), 2)
		assert.InDelta(t, 160, millimetres(t, six), 2)
	}
	assert.Equal(t, "I2C1 channel 6 of 0x71", s.channel(t, 6).String())
	err := s.channel(t, 3).Tx(0x29, []byte{0, 0}, make([]byte, 1))
	assert.ErrorIs(t, sensor.ClassifyI2C(err), sensor.ErrAbsent)
}

// TestStationsRangeAtTheSameTime: transfers of two stations interleave.
func TestStationsRangeAtTheSameTime(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	var wg sync.WaitGroup
	for n, want := range map[int]float64{1: 80, 6: 160} {
		d := s.ranger(t, n)
		leave := s.clock.Join()
		wg.Go(func() {
			defer leave()
			for range 5 {
				b, err := d.Range(context.Background(), 10)
				assert.NoError(t, err)
				assert.InDelta(t, want, b.RangeMM.Or(0), 2)
			}
		})
	}
	wg.Wait()
}

// TestAGarbledSwitchIsNoticed: else one station would store the other's level.
func TestAGarbledSwitchIsNoticed(t *testing.T) {
	t.Parallel()
	for bit := range 8 {
		s := newStand(t)
		one, six := s.ranger(t, 1), s.ranger(t, 6)
		s.bus.Inject(sim.FlipWrite(1, bit))
		b, err := one.Range(t.Context(), 5)
		require.Error(t, err, "bit %d: %v", bit, b)
		require.ErrorIs(t, err, sensor.ErrBus)
		assert.InDelta(t, 80, millimetres(t, one), 2)
		assert.InDelta(t, 160, millimetres(t, six), 2)
	}
}

func TestAMultiplexerThatLosesItsPowerIsSwitchedAgain(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	one, bus := s.ranger(t, 1), s.channel(t, 1)
	assert.InDelta(t, 80, millimetres(t, one), 2)
	s.chip.Brownout()
	id := make([]byte, 2)
	require.ErrorIs(t, sensor.ClassifyI2C(bus.Tx(0x29, []byte{0x01, 0x0F}, id)), sensor.ErrAbsent)
	require.NoError(t, bus.Tx(0x29, []byte{0x01, 0x0F}, id))
	assert.Equal(t, []byte{0xEB, 0xAA}, id)
	s.chip.Brownout()
	if _, err := one.Range(t.Context(), 5); err != nil {
		require.ErrorIs(t, err, sensor.ErrAbsent)
	}
	assert.InDelta(t, 80, millimetres(t, one), 2)
}

func TestAMultiplexerThatIsAbsentIsNamed(t *testing.T) {
	t.Parallel()
	m, err := mux.New(sim.NewBus("I2C1"), 0x70)
	require.NoError(t, err)
	b, err := m.Channel(0)
	require.NoError(t, err)
	r := []byte{7}
	err = b.Tx(0x29, []byte{0}, r)
	require.ErrorIs(t, sensor.ClassifyI2C(err), sensor.ErrAbsent)
	assert.ErrorContains(t, err, "multiplexer at 0x70")
	assert.Equal(t, []byte{0}, r)
}

// TestRootKeepsTheChannelsApart: a chip beside the multiplexer at an address that is also on a channel.
func TestRootKeepsTheChannelsApart(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	s.bus.Attach(sim.NewVL53L4CD(s.clock, sim.Card(40), sim.ChipOpts{Quiet: true}))
	d, err := vl53l4cd.New(s.mux.Root(), 0x29, &vl53l4cd.Opts{Clock: s.clock})
	require.NoError(t, err)
	assert.InDelta(t, 40, millimetres(t, d), 1)
	assert.Equal(t, "I2C1", s.mux.Root().String())
}

func TestRefuses(t *testing.T) {
	t.Parallel()
	for _, addr := range []uint16{0x29, 0x6F, 0x78} {
		_, err := mux.New(nil, addr)
		require.Error(t, err)
	}
	s := newStand(t)
	for _, n := range []int{-1, 8} {
		_, err := s.mux.Channel(n)
		require.Error(t, err)
	}
	assert.Error(t, s.channel(t, 0).SetSpeed(1), "as on a Pi")
	var bus i2c.Bus = s.channel(t, 0)
	assert.False(t, errors.Is(bus.Tx(0x71, nil, make([]byte, 1)), sim.ErrNACK), "its own address is on every channel")
}

func Example() {
	clock := sim.NewClock(time.Now(), 0)
	chip := sim.NewTCA9548A(0x70)
	chip.Channel(2).Attach(sim.NewVL53L4CD(clock, sim.Card(100), sim.ChipOpts{}))
	m, err := mux.New(sim.NewBus("I2C1", chip), 0x70)
	if err != nil {
		fmt.Println(err)
		return
	}
	bus, err := m.Channel(2)
	if err != nil {
		fmt.Println(err)
		return
	}
	id := make([]byte, 2)
	err = bus.Tx(0x29, []byte{0x01, 0x0F}, id)
	fmt.Printf("%v: %X %v\n", bus, id, err)
	// Output: I2C1 channel 2 of 0x70: EBAA <nil>
}
