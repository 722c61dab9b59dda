package recovery_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/recovery"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

var dusk = time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC)

// TestSuite: what keeps a ranger going keeps the promises of a driver.
func TestSuite(t *testing.T) {
	sensortest.Run(t, sensortest.Rig{
		Budget: 50 * time.Millisecond,
		Chip:   func(c *sim.Clock, s sim.Scene, o sim.ChipOpts) sensortest.Chip { return sim.NewVL53L4CD(c, s, o) },
		Driver: func(b i2c.Bus, c sensor.Clock) (sensor.Ranger, error) {
			r := recovery.New("VL53L4CD at 0x29", func() (sensor.Ranger, error) {
				return vl53l4cd.New(b, 0x29, &vl53l4cd.Opts{Clock: c, Budget: 50 * time.Millisecond})
			})
			// The suite wants a stranger to be found at once.
			if _, err := vl53l4cd.New(b, 0x29, &vl53l4cd.Opts{Clock: c}); errors.Is(err, sensor.ErrIdentity) {
				return nil, err
			}
			return r, nil
		},
	})
}

// TestPatience: a bus that hangs is left alone two ticks out of three, and the station is back within three ticks.
func TestPatience(t *testing.T) {
	t.Parallel()
	for hang := 1; hang < 40; hang++ {
		clock := sim.NewClock(dusk, time.Minute)
		bus := sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{Quiet: true}))
		r := recovery.New("main", func() (sensor.Ranger, error) {
			return vl53l4cd.New(bus, 0x29, &vl53l4cd.Opts{Clock: clock})
		})
		free := bus.Inject(sim.FailWhile(func() bool { return true }, sim.ErrHeld))
		for range hang {
			_, err := r.Range(t.Context(), 5)
			require.ErrorIs(t, err, sensor.ErrBus)
		}
		assert.LessOrEqual(t, bus.Stats().Transfers, 4+hang/3, "%d ticks", hang)
		free()
		back := 0
		for ; back < 4; back++ {
			if _, err := r.Range(t.Context(), 5); err == nil {
				break
			}
		}
		assert.Less(t, back, 3, "%d ticks", hang)
	}
}

// mute is a ranger that can do nothing but range.
type mute struct{ err error }

func (m mute) String() string                                 { return "mute" }
func (m mute) Range(context.Context, int) (rise.Burst, error) { return rise.Burst{Valid: 1}, m.err }
func (m mute) Halt() error                                    { return m.err }

func TestWhatTheDriverCannotDo(t *testing.T) {
	t.Parallel()
	r := recovery.New("main", func() (sensor.Ranger, error) { return mute{}, nil })
	assert.Equal(t, "main", r.String())
	require.NoError(t, r.Halt())
	r.SetTemperature(physic.ZeroCelsius)
	b, err := r.Range(t.Context(), 1)
	require.NoError(t, err)
	assert.Equal(t, 1, b.Valid)
	assert.Equal(t, "mute", r.String())
	_, err = r.CalibrateOffset(t.Context(), 100, 20)
	require.ErrorIs(t, err, errors.ErrUnsupported)
	_, err = r.CalibrateCrosstalk(t.Context(), 100, 20)
	require.ErrorIs(t, err, errors.ErrUnsupported)
	none := recovery.New("main", func() (sensor.Ranger, error) { return nil, sensor.ErrAbsent })
	_, err = none.CalibrateOffset(t.Context(), 100, 20)
	require.ErrorIs(t, err, sensor.ErrAbsent)
	_, err = none.CalibrateCrosstalk(t.Context(), 100, 20)
	require.ErrorIs(t, err, sensor.ErrAbsent)
}

// TestTemperatureReachesADriverMadeLater: 12 °C of drift are calibrated away in a chip that came late.
func TestTemperatureReachesADriverMadeLater(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	warm := 30.0
	scene := sim.Moving{View: sim.Card(120).Target, Temperature: func(time.Duration) float64 { return warm }}
	chip := sim.NewVL53L4CD(clock, scene, sim.ChipOpts{Quiet: true, DriftMMPerC: 0.5})
	r := recovery.New("main", func() (sensor.Ranger, error) {
		return vl53l4cd.New(sim.NewBus("I2C1", chip), 0x29, &vl53l4cd.Opts{Clock: clock})
	})
	tell := func() { r.SetTemperature(physic.ZeroCelsius + physic.Temperature(warm)*physic.Kelvin) }
	tell()
	_, err := r.Range(t.Context(), 5)
	require.NoError(t, err)
	warm = 18
	tell()
	b, err := r.Range(t.Context(), 5)
	require.NoError(t, err)
	assert.Equal(t, rise.Known(120), b.RangeMM)
	mm, err := r.CalibrateOffset(t.Context(), 123, 20)
	require.NoError(t, err)
	assert.InDelta(t, 13+3, mm, 0.5, "3 mm above the factory's 13")
	x, err := r.CalibrateCrosstalk(t.Context(), 123, 20)
	require.NoError(t, err)
	assert.InDelta(t, 0, x, 0.2)
	require.NoError(t, r.Halt())
}

func TestACancelIsNoFailure(t *testing.T) {
	t.Parallel()
	r := recovery.New("main", func() (sensor.Ranger, error) { return mute{err: context.Canceled}, nil })
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for range 5 {
		_, err := r.Range(ctx, 1)
		require.ErrorIs(t, err, context.Canceled)
	}
	assert.ErrorIs(t, r.Halt(), context.Canceled, "the driver's own word")
}

func Example() {
	clock := sim.NewClock(dusk, time.Minute)
	chip := sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{Quiet: true})
	bus := sim.NewBus("I2C1", chip)
	r := recovery.New("VL53L4CD at 0x29 on bus 1", func() (sensor.Ranger, error) {
		return vl53l4cd.New(bus, 0x29, &vl53l4cd.Opts{Clock: clock})
	})
	chip.Unplug()
	_, err := r.Range(context.Background(), 20)
	fmt.Println(err)
	chip.Plug()
	b, err := r.Range(context.Background(), 20)
	fmt.Println(b.RangeMM, err)
	// Output:
	// read boot state of VL53L4CD at 0x29: no answer: sysfs-i2c: remote I/O error
	// 120 <nil>
}
