package vl53l1x_test

import (
	"context"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l1x"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	tinygo "tinygo.org/x/drivers/vl53l1x"
)

var dusk = time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC)

func TestSuite(t *testing.T) {
	sensortest.Run(t, sensortest.Rig{
		Budget: 50 * time.Millisecond,
		Chip:   func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) sensortest.Chip { return sim.NewVL53L1X(c, s, o) },
		Driver: func(b i2c.Bus, c sensor.Clock) (sensor.Ranger, error) {
			return vl53l1x.New(b, vl53l1x.DefaultAddr, &vl53l1x.Opts{Clock: c, Budget: 50 * time.Millisecond})
		},
	})
}

// newDev makes a driver on a simulated chip. The options' clock is filled in.
func newDev(t testing.TB, scene sim.Scene, part sim.ChipOpts, opts vl53l1x.Opts) (*vl53l1x.Dev, *sim.Bus, *sim.Clock) {
	t.Helper()
	clock := sim.NewClock(dusk, time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L1X(clock, scene, part))
	opts.Clock = clock
	d, err := vl53l1x.New(bus, vl53l1x.DefaultAddr, &opts)
	require.NoError(t, err)
	return d, bus, clock
}

func TestWhatIsInViewIsSaid(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		view sim.Target
		want rise.Status
	}{
		{"white card", sim.Target{DistanceMM: 100, Reflect: 1}, rise.StatusGood},
		{"at the nearest", sim.Target{DistanceMM: 44, Reflect: 1}, rise.StatusGood},
		{"too near to be linear", sim.Target{DistanceMM: 33, Reflect: 1}, rise.StatusTooNear},
		{"touching", sim.Target{DistanceMM: 0, Reflect: 1}, rise.StatusTooNear},
		{"nothing", sim.Target{None: true}, rise.StatusWeak},
	}
	for _, tt := range tests {
		d, _, _ := newDev(t, sim.Fixed{View: tt.view, C: 23}, sim.ChipOpts{Seed: 3}, vl53l1x.Opts{})
		b, err := d.Range(t.Context(), 20)
		require.NoError(t, err, tt.name)
		assert.GreaterOrEqual(t, b.Statuses[tt.want], uint16(19), "%s: %v", tt.name, b.Statuses)
		assert.Equal(t, tt.want == rise.StatusGood, b.RangeMM.IsKnown(), tt.name)
	}
}

// TestEveryBudgetWorks, and more of it means less noise.
func TestEveryBudgetWorks(t *testing.T) {
	t.Parallel()
	spread := 1000.0
	for _, budget := range vl53l1x.Budgets() {
		d, _, clock := newDev(t, sim.Fixed{View: sim.Target{DistanceMM: 300, Reflect: 0.5}, C: 23}, sim.ChipOpts{Seed: 4}, vl53l1x.Opts{Budget: budget, SigmaMM: 40})
		_, err := d.Range(t.Context(), 50)
		require.NoError(t, err)
		began := clock.Boot()
		b, err := d.Range(t.Context(), 50)
		require.NoError(t, err)
		assert.InDelta(t, 300, b.RangeMM.Or(0), 3, budget)
		assert.Less(t, clock.Boot()-began, 53*(budget+budget/10+2*time.Millisecond), budget)
		assert.Less(t, b.SpreadMM.Or(0), spread, budget)
		spread = b.SpreadMM.Or(0)
	}
}

// TestBusOccupancy: at 33 ms and the slowest usual bus less than a tenth of the time.
func TestBusOccupancy(t *testing.T) {
	t.Parallel()
	d, bus, clock := newDev(t, sim.Card(120), sim.ChipOpts{}, vl53l1x.Opts{Budget: 33 * time.Millisecond})
	_, err := d.Range(t.Context(), 20)
	require.NoError(t, err)
	busy, began := bus.Stats().Busy(100*physic.KiloHertz), clock.Boot()
	_, err = d.Range(t.Context(), 20)
	require.NoError(t, err)
	share := float64(bus.Stats().Busy(100*physic.KiloHertz)-busy) / float64(clock.Boot()-began)
	t.Logf("a burst of 20 at 33 ms occupies a 100 kHz bus %.1f %% of its time", 100*share)
	assert.Less(t, share, 0.10)
}

func TestBadOptions(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L1X(clock, sim.Card(120), sim.ChipOpts{}))
	for want, o := range map[string]*vl53l1x.Opts{
		"clock is needed": nil,
		"timing budget":   {Clock: clock, Budget: 40 * time.Millisecond},
		"region":          {Clock: clock, ROI: vl53l1x.ROI{Width: 16, Height: 16, Centre: 180}},
		"offset of":       {Clock: clock, OffsetMM: rise.Known(-600)},
		"crosstalk of -":  {Clock: clock, CrosstalkKcps: rise.Known(-1)},
	} {
		_, err := vl53l1x.New(bus, 0x29, o)
		require.ErrorContains(t, err, want)
		assert.ErrorContains(t, err, "VL53L1X")
	}
}

// realClock is a sensor.Clock by the bubble's time, which the other driver sleeps by.
type realClock struct{ zero time.Time }

func (c realClock) Wall() time.Time     { return time.Now().UTC() }
func (c realClock) Boot() time.Duration { return time.Since(c.zero) }
func (c realClock) Sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// TestAnIndependentDriverAgrees: tinygo.org/x/drivers v0.37.0 on the same simulated chip sees the same target, with its
// known differences taken out: it scales the range by 2011/2048, and it keeps a range without a check against wrap-around
// under another status.
func TestAnIndependentDriverAgrees(t *testing.T) {
	for _, view := range []sim.Target{
		{DistanceMM: 60, Reflect: 1, AmbientMcps: 0.5},
		{DistanceMM: 123, Reflect: 0.6, AmbientMcps: 2},
		{DistanceMM: 250, Reflect: 0.9},
		{DistanceMM: 100, None: true},
	} {
		t.Run(fmt.Sprintf("%.0f mm", view.DistanceMM), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				clock := realClock{time.Now().Add(-time.Hour)}
				scene := sim.Fixed{View: view, C: 23}
				theirs := tinygo.New(sim.NewBus("I2C1", sim.NewVL53L1X(clock, scene, sim.ChipOpts{Quiet: true})))
				require.True(t, theirs.Configure(true))
				theirs.SetDistanceMode(tinygo.SHORT)
				require.True(t, theirs.SetMeasurementTimingBudget(100000))
				theirs.StartContinuous(100)
				for range 3 {
					time.Sleep(150 * time.Millisecond) // its own wait spins, and the bubble's time stands still meanwhile
					theirs.Read(false)
				}
				ours, err := vl53l1x.New(sim.NewBus("I2C1", sim.NewVL53L1X(clock, scene, sim.ChipOpts{Quiet: true})), 0x29,
					&vl53l1x.Opts{Clock: clock, ROI: vl53l1x.ROI{Width: 16, Height: 16}})
				require.NoError(t, err)
				b, err := ours.Range(t.Context(), 5)
				require.NoError(t, err)
				if view.None {
					assert.Equal(t, tinygo.SignalFail, theirs.Status())
					assert.Equal(t, uint16(5), b.Statuses[rise.StatusWeak])
					return
				}
				assert.Equal(t, tinygo.RangeValid, theirs.Status())
				assert.InDelta(t, float64(theirs.Distance())*2048/2011, b.RangeMM.Or(-1), 0.6)
				assert.InDelta(t, float64(theirs.SignalRate())/1e6, b.SignalMcps.Or(-1), 0.01)
				assert.InDelta(t, float64(theirs.AmbientRate())/1e6, b.AmbientMcps.Or(-1), 0.01)
			})
		})
	}
}

// BenchmarkTick is one tick of 20 ranges with the simulated chip's own work in it. The limit for a tick is 3 ms of CPU.
func BenchmarkTick(b *testing.B) {
	d, _, _ := newDev(b, sim.Card(120), sim.ChipOpts{}, vl53l1x.Opts{})
	ctx := context.Background()
	_, err := d.Range(ctx, 20)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Range(ctx, 20); err != nil {
			b.Fatal(err)
		}
	}
}
