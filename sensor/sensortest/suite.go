package sensortest

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Chip is a simulated chip with the faults that the suite makes.
type Chip interface {
	sim.Device
	// Unplug and Plug take and give its power; Brownout is both at once.
	Unplug()
	Plug()
	Brownout()
	// Freeze makes it repeat its last result; Deafen keeps it from ever being ready.
	Freeze(on bool)
	Deafen(on bool)
}

// Rig makes what the suite tests.
type Rig struct {
	// Budget is the time that a single range takes.
	Budget time.Duration
	// ToleranceMM is how far a burst of 20 may be from the truth, mm; 0 is 1.5.
	ToleranceMM float64
	// NoRepeats says that the chip has nothing by which a driver can tell that it repeats itself.
	NoRepeats bool
	// Chip makes a chip with its power on.
	Chip func(*sim.Clock, sim.Scene, sim.ChipOpts) Chip
	// Driver finds the chip at its default address.
	Driver func(i2c.Bus, sensor.Clock) (sensor.Ranger, error)
}

const (
	truthMM = 90.0
	ranges  = 20
)

// stand is a chip on a bus with its driver, ready for one test.
type stand struct {
	Rig
	clock *sim.Clock
	bus   *sim.Bus
	chip  Chip
	dev   sensor.Ranger
}

// bench makes a stand without a driver.
func (r Rig) bench(seed uint64) *stand {
	clock := sim.NewClock(time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC), time.Minute)
	chip := r.Chip(clock, sim.Card(truthMM), sim.ChipOpts{Seed: seed})
	return &stand{Rig: r, clock: clock, chip: chip, bus: sim.NewBus("I2C1", chip)}
}

// start makes a stand with its driver.
func (r Rig) start(t *testing.T, seed uint64) *stand {
	t.Helper()
	s := r.bench(seed)
	require.NoError(t, s.open())
	return s
}

func (s *stand) open() error {
	var err error
	s.dev, err = s.Driver(s.bus, s.clock)
	return err
}

// tick is what a daemon does in one tick: find the chip if it was not found yet, and range.
func (s *stand) tick() (rise.Burst, error) {
	if s.dev == nil {
		if err := s.open(); err != nil {
			s.dev = nil
			return rise.Burst{}, err
		}
	}
	return s.dev.Range(context.Background(), ranges)
}

// right fails if a burst claims a range that is wrong.
func (s *stand) right(t *testing.T, b rise.Burst, what string, args ...any) {
	t.Helper()
	mm, ok := b.RangeMM.Get()
	assert.Equal(t, b.Valid > 0, ok, append([]any{what}, args...)...)
	if ok {
		tolerance := s.ToleranceMM
		if tolerance == 0 {
			tolerance = 1.5
		}
		assert.InDelta(t, truthMM, mm, tolerance, append([]any{what}, args...)...)
	}
}

// known fails unless err is classed by one of the sentinels.
func known(t *testing.T, err error, what string, args ...any) {
	t.Helper()
	for _, s := range []error{sensor.ErrBus, sensor.ErrAbsent, sensor.ErrIdentity, sensor.ErrTimeout, sensor.ErrHardware,
		sensor.ErrStuck, sensor.ErrBadValue} {
		if errors.Is(err, s) {
			return
		}
	}
	assert.Fail(t, "not classed: "+err.Error(), append([]any{what}, args...)...)
}

// recovers fails unless the station is back within three ticks.
func (s *stand) recovers(t *testing.T, what string, args ...any) {
	t.Helper()
	if b, err := s.back(); err != nil || b.Valid < ranges-1 {
		assert.Failf(t, "not back after 3 ticks", "%s: %+v, %v", fmt.Sprintf(what, args...), b, err)
	} else {
		s.right(t, b, what, args...)
	}
}

// back is the first good burst of three ticks, or the last of them.
func (s *stand) back() (b rise.Burst, err error) {
	for range 3 {
		if b, err = s.tick(); err == nil && b.Valid >= ranges-1 {
			break
		}
	}
	return b, err
}

// Run runs the suite: every driver of a ranger must pass it.
func Run(t *testing.T, r Rig) {
	before := goleak.IgnoreCurrent()
	for _, c := range []struct {
		name string
		test func(*testing.T, Rig)
	}{
		{"a burst is right", burst},
		{"a burst leaves the bus to others", leaves},
		{"cancel ends a burst within one budget", cancel},
		{"a failed transfer is never a wrong range", failed},
		{"a garbled transfer is never a wrong range", garbled},
		{"a set-up that was interrupted is made good", interrupted},
		{"a chip that is absent says so", absent},
		{"another chip says so", another},
		{"a held bus says so and comes back", held},
		{"a chip that loses its power comes back", brownout},
		{"a chip that is never ready is given up", deaf},
		{"a chip that repeats itself is refused", frozen},
		{"a calibration holds or changes nothing", calibration},
		{"halt puts it to rest and it can go on", halt},
		{"the steady path does not allocate", allocates},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, r) })
	}
	goleak.VerifyNone(t, before)
}

func burst(t *testing.T, r Rig) {
	s := r.start(t, 1)
	for range 3 {
		b, err := s.tick()
		require.NoError(t, err)
		assert.Equal(t, ranges, b.Of)
		assert.GreaterOrEqual(t, b.Valid, ranges-1)
		s.right(t, b, "burst")
		sum := 0
		for _, n := range b.Statuses {
			sum += int(n)
		}
		assert.Equal(t, ranges, sum, "every range has a status")
		assert.True(t, b.SignalMcps.IsKnown())
	}
	assert.NotEmpty(t, s.dev.String())
	began := s.clock.Boot()
	_, err := s.tick()
	require.NoError(t, err)
	assert.LessOrEqual(t, s.clock.Boot()-began, (ranges+3)*(r.Budget+r.Budget/10+2*time.Millisecond), "a burst takes its budget")
	_, err = s.dev.Range(t.Context(), 0)
	assert.Error(t, err)
}

// leaves fails if a burst leaves too little of the bus to the stations that share it.
func leaves(t *testing.T, r Rig) {
	s := r.start(t, 4)
	_, err := s.tick()
	require.NoError(t, err)
	busy, began := s.bus.Stats().Busy(100*physic.KiloHertz), s.clock.Boot()
	_, err = s.tick()
	require.NoError(t, err)
	share := float64(s.bus.Stats().Busy(100*physic.KiloHertz)-busy) / float64(s.clock.Boot()-began)
	t.Logf("a burst at %v fills %.1f %% of the bus", r.Budget, 100*share)
	assert.Less(t, share, 0.1)
}

func cancel(t *testing.T, r Rig) {
	for _, after := range []time.Duration{r.Budget / 2, 3*r.Budget + r.Budget/3} {
		s := r.start(t, 2)
		_, err := s.tick()
		require.NoError(t, err)
		ctx, stop := context.WithCancel(context.Background())
		leave, leaveOther := s.clock.Join(), s.clock.Join()
		var at time.Duration
		done := make(chan struct{})
		go func() {
			defer close(done)
			defer leaveOther()
			_ = s.clock.Sleep(context.Background(), after)
			at = s.clock.Boot()
			stop()
		}()
		_, err = s.dev.Range(ctx, ranges)
		end := s.clock.Boot()
		leave()
		<-done
		require.ErrorIs(t, err, context.Canceled)
		assert.LessOrEqual(t, end-at, r.Budget)
		s.recovers(t, "after a cancel")
	}
	s := r.start(t, 3)
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err := s.dev.Range(ctx, ranges)
	require.ErrorIs(t, err, context.Canceled)
}

func halt(t *testing.T, r Rig) {
	s := r.start(t, 11)
	require.NoError(t, s.dev.Halt(), "before the first burst")
	_, err := s.tick()
	require.NoError(t, err)
	require.NoError(t, s.dev.Halt())
	require.NoError(t, s.dev.Halt(), "twice")
	s.recovers(t, "after a halt")
}

func allocates(t *testing.T, r Rig) {
	s := r.start(t, 12)
	for range 2 {
		_, err := s.tick()
		require.NoError(t, err)
	}
	n := testing.AllocsPerRun(10, func() {
		if _, err := s.tick(); err != nil {
			t.Fatal(err)
		}
	})
	assert.Zero(t, n, "allocations in a burst")
}
