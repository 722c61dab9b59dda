package sensortest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"periph.io/x/conn/v3/i2c"
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
	truthMM = 120.0
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

// transfers counts the transfers of finding the chip and of two bursts.
func (r Rig) transfers(t *testing.T) int {
	s := r.bench(4)
	for range 2 {
		_, err := s.tick()
		require.NoError(t, err)
	}
	return s.bus.Stats().Transfers
}

func failed(t *testing.T, r Rig) {
	n := r.transfers(t)
	errs := 0
	for k := 1; k <= n; k++ {
		for _, fault := range []error{sim.ErrNACK, sim.ErrHeld} {
			s := r.bench(uint64(k))
			s.bus.Inject(sim.FailNth(k, fault))
			for range 2 {
				b, err := s.tick()
				if err != nil {
					known(t, err, "transfer %d of %d", k, n)
					assert.Equal(t, rise.Burst{}, b)
					errs++
					continue
				}
				s.right(t, b, "transfer %d of %d", k, n)
			}
			s.recovers(t, "transfer %d of %d", k, n)
		}
	}
	assert.Greater(t, errs, n, "failures are told")
}

// garbled flips one bit in each transfer of finding the chip and of two bursts in turn, written or read: a few bits of each by a
// fixed seed, or every bit with the build tag slow.
func garbled(t *testing.T, r Rig) {
	n := r.transfers(t)
	rng := rand.New(rand.NewPCG(5, 0))
	for k := 1; k <= n; k++ {
		w, rd := r.lengths(t, k)
		bits := rng.Perm(8 * (w + rd))
		if !everyBit {
			bits = bits[:min(4, len(bits))]
		}
		for _, bit := range bits {
			garbledOnce(t, r, k, bit, w)
		}
	}
}

// lengths are how many bytes the k-th transfer writes and reads.
func (r Rig) lengths(t *testing.T, k int) (w, rd int) {
	s := r.bench(uint64(k))
	s.bus.Watch(func(tr sim.Transfer) {
		if tr.N == k {
			w, rd = len(tr.W), len(tr.R)
		}
	})
	for range 2 {
		_, err := s.tick()
		require.NoError(t, err)
	}
	return w, rd
}

func garbledOnce(t *testing.T, r Rig, k, bit, w int) {
	s := r.bench(uint64(k))
	flip := func(b []byte, bit int) { b[bit/8] ^= 0x80 >> (bit % 8) }
	s.bus.Inject(sim.Fault{
		Before: func(tr *sim.Transfer) error {
			if tr.N == k && bit < 8*len(tr.W) {
				flip(tr.W, bit)
			}
			return nil
		},
		After: func(tr *sim.Transfer) {
			if at := bit - 8*w; tr.N == k && at >= 0 && at < 8*len(tr.R) {
				flip(tr.R, at)
			}
		},
	})
	for range 2 {
		b, err := s.tick()
		if err != nil {
			known(t, err, "transfer %d bit %d", k, bit)
			continue
		}
		s.right(t, b, "transfer %d bit %d of %d+", k, bit, 8*w)
	}
	if !s.chip.Answers(0x29) {
		// The flip made it a write to the address register. Only the power, or XSHUT, brings the chip back.
		s.chip.Brownout()
	}
	s.recovers(t, "transfer %d bit %d", k, bit)
}

// interrupted kills the program after each transfer in turn; the next one finds the chip as it was left
// (cassou/VL53L0X_rasp issue 5).
func interrupted(t *testing.T, r Rig) {
	n := r.transfers(t)
	for k := 1; k < n; k++ {
		s := r.bench(uint64(k))
		gone := s.bus.Inject(sim.Fault{Before: func(tr *sim.Transfer) error {
			if tr.N > k {
				return sim.ErrHeld
			}
			return nil
		}})
		for range 2 {
			if _, err := s.tick(); err != nil {
				break
			}
		}
		gone()
		s.dev = nil
		s.recovers(t, "killed after transfer %d", k)
	}
}

func absent(t *testing.T, r Rig) {
	s := r.bench(6)
	s.chip.Unplug()
	began := s.clock.Boot()
	_, err := s.tick()
	require.ErrorIs(t, err, sensor.ErrAbsent)
	assert.Less(t, s.clock.Boot()-began, time.Second)
	assert.Equal(t, rise.FaultAbsent, sensor.Fault(err))
	s.chip.Plug()
	s.recovers(t, "plugged in")
	s.chip.Unplug()
	_, err = s.tick()
	require.ErrorIs(t, err, sensor.ErrAbsent)
	s.chip.Plug()
	s.recovers(t, "plugged in again")
}

// stranger answers at the default address with the same byte everywhere.
type stranger struct{ sim.Device }

func (stranger) Answers(addr uint16) bool { return addr == 0x29 }

func (stranger) Tx(_ uint16, _, r []byte) error {
	for i := range r {
		r[i] = 0x5A
	}
	return nil
}

func another(t *testing.T, r Rig) {
	clock := sim.NewClock(time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC), time.Minute)
	bus := sim.NewBus("I2C1", stranger{})
	var wrote []sim.Transfer
	bus.Watch(func(tr sim.Transfer) {
		if len(tr.R) == 0 {
			wrote = append(wrote, tr)
		}
	})
	_, err := r.Driver(bus, clock)
	require.ErrorIs(t, err, sensor.ErrIdentity)
	assert.Empty(t, wrote, "a stranger is not written to")
}

func held(t *testing.T, r Rig) {
	s := r.start(t, 7)
	free := s.bus.Inject(sim.FailWhile(func() bool { return true }, sim.ErrHeld))
	for range 5 {
		_, err := s.tick()
		require.ErrorIs(t, err, sensor.ErrBus)
	}
	free()
	s.recovers(t, "bus free")
}

func brownout(t *testing.T, r Rig) {
	s := r.start(t, 8)
	_, err := s.tick()
	require.NoError(t, err)
	s.chip.Brownout()
	s.recovers(t, "brown-out between bursts")

	for i := range 12 { // and in the middle of one
		at := s.clock.Boot() + time.Duration(i)*2*r.Budget + r.Budget/3
		fired := false
		remove := s.bus.Inject(sim.FailWhile(func() bool {
			if !fired && s.clock.Boot() >= at {
				fired = true
				s.chip.Brownout()
			}
			return false
		}, nil))
		b, err := s.tick()
		if err != nil {
			known(t, err, "brown-out %d", i)
		} else {
			s.right(t, b, "brown-out %d", i)
		}
		s.recovers(t, "brown-out %d", i)
		remove()
	}
}

func deaf(t *testing.T, r Rig) {
	s := r.start(t, 9)
	_, err := s.tick()
	require.NoError(t, err)
	s.chip.Deafen(true)
	began := s.clock.Boot()
	_, err = s.tick()
	require.ErrorIs(t, err, sensor.ErrTimeout)
	assert.Less(t, s.clock.Boot()-began, 3*r.Budget+time.Second)
	for range 3 {
		_, err = s.tick()
		require.Error(t, err)
		known(t, err, "deaf")
	}
	s.chip.Deafen(false)
	s.recovers(t, "ready again")
}

func frozen(t *testing.T, r Rig) {
	if r.NoRepeats {
		return
	}
	s := r.start(t, 10)
	_, err := s.tick()
	require.NoError(t, err)
	s.chip.Freeze(true)
	for range 2 {
		_, err = s.tick()
		require.Error(t, err)
		known(t, err, "frozen")
	}
	s.chip.Freeze(false)
	s.recovers(t, "moving again")
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
