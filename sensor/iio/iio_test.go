package iio_test

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"syscall"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/iio"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func newFiles(t *testing.T) (*sim.Files, *sim.Clock) {
	t.Helper()
	clock := sim.NewClock(time.Unix(0, 0), time.Minute)
	f, err := sim.NewFiles(t.TempDir(), clock)
	require.NoError(t, err)
	return f, clock
}

func TestRangesWhatTheKernelShows(t *testing.T) {
	t.Parallel()
	f, clock := newFiles(t)
	rising := sim.Moving{View: func(at time.Duration) sim.Target { return sim.Target{DistanceMM: 120 - 5*at.Hours(), Reflect: 1} }}
	require.NoError(t, f.IIODistance("iio:device0", "vl53l0x", rising, nil))
	d, err := iio.New(f, "", &iio.Opts{Clock: clock})
	require.NoError(t, err)
	assert.Equal(t, "vl53l0x by the kernel (iio:device0)", d.String())
	for range 5 {
		b, err := d.Range(t.Context(), 20)
		require.NoError(t, err)
		assert.Equal(t, 20, b.Valid)
		assert.InDelta(t, 120-5*clock.Boot().Hours(), b.RangeMM.Or(0), 0.51)
		assert.False(t, b.SignalMcps.IsKnown())
		require.NoError(t, clock.Sleep(t.Context(), time.Hour))
	}
	require.NoError(t, d.Halt())
	_, err = d.Range(t.Context(), 0)
	require.Error(t, err)
}

// TestValuesThatAreNoDistance: the kernel's drivers give values without their status.
func TestValuesThatAreNoDistance(t *testing.T) {
	t.Parallel()
	tests := []struct {
		chip, raw string
		want      rise.Status
	}{
		{"vl53l0x", "123", rise.StatusGood},
		{"vl53l0x", "8190", rise.StatusOther}, // pololu/vl53l0x-arduino issue 28
		{"vl53l0x", "8191", rise.StatusOther},
		{"vl53l0x", "65535", rise.StatusOther},
		{"vl53l0x", "20", rise.StatusTooNear},
		{"vl53l0x", "0", rise.StatusTooNear},
		{"vl53l0x", "32", rise.StatusGood},
		{"vl6180", "32", rise.StatusOther}, // without its private settings it says so for everything near
		{"vl6180", "255", rise.StatusOther},
		{"vl6180", "20", rise.StatusGood},
		{"vl53l1x", "-4", rise.StatusOther},
	}
	for _, tt := range tests {
		f, clock := newFiles(t)
		require.NoError(t, f.IIODistance("iio:device0", tt.chip, sim.Card(100), nil))
		require.NoError(t, f.Set("iio:device0/in_distance_raw", sim.Says(tt.raw)))
		d, err := iio.New(f, "iio:device0", &iio.Opts{Clock: clock})
		require.NoError(t, err)
		b, err := d.Range(t.Context(), 5)
		require.NoError(t, err)
		assert.EqualValues(t, 5, b.Statuses[tt.want], "%s %s: %v", tt.chip, tt.raw, b.Statuses)
	}
}

func TestErrorsOfTheKernel(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, chip string
		errno      syscall.Errno
		want       error
	}{
		{"no answer of the chip", "vl53l0x", 121, sensor.ErrAbsent}, // EREMOTEIO
		{"not ready", "vl53l0x", syscall.ETIMEDOUT, sensor.ErrTimeout},
		{"not ready, vl6180", "vl6180", syscall.EIO, sensor.ErrTimeout},
		{"not allowed", "vl53l0x", syscall.EACCES, sensor.ErrBus},
		{"no good range, vl53l1x", "vl53l1x", syscall.EIO, nil},
	}
	for _, tt := range tests {
		f, clock := newFiles(t)
		broken := false
		fail := func(time.Duration) error {
			if broken {
				return tt.errno
			}
			return nil
		}
		require.NoError(t, f.IIODistance("iio:device2", tt.chip, sim.Card(100), fail))
		d, err := iio.New(f, "", &iio.Opts{Clock: clock})
		require.NoError(t, err)
		broken = true
		b, err := d.Range(t.Context(), 5)
		if tt.want == nil {
			require.NoError(t, err, tt.name)
			assert.EqualValues(t, 5, b.Statuses[rise.StatusOther], tt.name)
		} else {
			require.ErrorIs(t, err, tt.want, tt.name)
		}
		broken = false
		b, err = d.Range(t.Context(), 5)
		require.NoError(t, err, tt.name)
		assert.Equal(t, 5, b.Valid, tt.name)
	}
}

func TestWhichDevice(t *testing.T) {
	t.Parallel()
	f, clock := newFiles(t)
	_, err := iio.New(f, "", &iio.Opts{Clock: clock})
	require.ErrorIs(t, err, sensor.ErrAbsent)
	require.NoError(t, f.IIODistance("iio:device1", "vl53l0x", sim.Card(100), nil))
	require.NoError(t, f.Set("iio:device0/in_illuminance_raw", sim.Says("3"))) // a light sensor
	d, err := iio.New(f, "", &iio.Opts{Clock: clock})
	require.NoError(t, err)
	_, err = iio.New(f, "iio:device7", &iio.Opts{Clock: clock})
	require.ErrorIs(t, err, sensor.ErrAbsent)
	// The driver is loaded again and gets another number.
	require.NoError(t, f.Remove("iio:device1"))
	_, err = d.Range(t.Context(), 1)
	require.ErrorIs(t, err, sensor.ErrAbsent)
	require.NoError(t, f.IIODistance("iio:device4", "vl53l0x", sim.Card(100), nil))
	_, err = d.Range(t.Context(), 1)
	require.NoError(t, err)
	require.NoError(t, f.IIODistance("iio:device5", "vl53l1x", sim.Card(90), nil))
	_, err = d.Range(t.Context(), 1)
	require.ErrorIs(t, err, sensor.ErrIdentity)
	assert.ErrorContains(t, err, "iio:device5")
	found, err := iio.List(f)
	require.NoError(t, err)
	assert.Equal(t, []iio.Device{{Device: "iio:device4", Name: "vl53l0x"}, {Device: "iio:device5", Name: "vl53l1x"}}, found)
	for _, name := range []string{"../x", "/sys"} {
		_, err = iio.New(f, name, &iio.Opts{Clock: clock})
		require.Error(t, err, name)
	}
	_, err = iio.New(f, "", nil)
	require.Error(t, err)
}

func TestNoisyBurstsDoNotCountAsGood(t *testing.T) {
	t.Parallel()
	f, clock := newFiles(t)
	waves := sim.Moving{View: func(at time.Duration) sim.Target {
		return sim.Target{DistanceMM: 200 + 40*math.Sin(at.Seconds()*7), Reflect: 1}
	}}
	require.NoError(t, f.IIODistance("iio:device0", "vl53l0x", waves, nil))
	d, err := iio.New(f, "", &iio.Opts{Clock: clock})
	require.NoError(t, err)
	b, err := d.Range(t.Context(), 20)
	require.NoError(t, err)
	assert.Zero(t, b.Valid)
	assert.EqualValues(t, 20, b.Statuses[rise.StatusNoisy])
}

// hung is a folder in which in_distance_raw never answers.
type hung struct {
	fstest.MapFS
	hang chan struct{}
}

func (h hung) ReadFile(name string) ([]byte, error) {
	if name == "iio:device0/in_distance_raw" {
		<-h.hang
	}
	return h.MapFS.ReadFile(name)
}

func TestHungKernelBlocksNobody(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		h := hung{hang: make(chan struct{}), MapFS: fstest.MapFS{
			"iio:device0/name": {Data: []byte("vl53l0x\n")}, "iio:device0/in_distance_raw": {Data: []byte("123\n")},
			"iio:device0/in_distance_scale": {Data: []byte("0.001000\n")},
		}}
		clock := sim.NewClock(time.Unix(0, 0), 0)
		d, err := iio.New(h, "", &iio.Opts{Clock: clock})
		require.NoError(t, err)
		began := time.Now()
		for range 3 {
			_, err = d.Range(t.Context(), 20)
			require.ErrorIs(t, err, sensor.ErrTimeout)
		}
		assert.Equal(t, 2*time.Second, time.Since(began))
		close(h.hang)
		synctest.Wait()
		b, err := d.Range(t.Context(), 20)
		require.NoError(t, err)
		assert.InDelta(t, 123, b.RangeMM.Or(0), 1e-9)
	})
}

func TestCancel(t *testing.T) {
	t.Parallel()
	f, clock := newFiles(t)
	require.NoError(t, f.IIODistance("iio:device0", "vl53l0x", sim.Card(100), nil))
	d, err := iio.New(f, "", &iio.Opts{Clock: clock})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = d.Range(ctx, 20)
	require.ErrorIs(t, err, context.Canceled)
	_, err = iio.List(missing{})
	require.ErrorIs(t, err, sensor.ErrBus)
}

type missing struct{}

func (missing) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

func Example() {
	clock := sim.NewClock(time.Now(), 0)
	d, err := iio.New(fstest.MapFS{
		"iio:device0/name":              {Data: []byte("vl53l0x\n")},
		"iio:device0/in_distance_raw":   {Data: []byte("123\n")},
		"iio:device0/in_distance_scale": {Data: []byte("0.001000\n")},
	}, "", &iio.Opts{Clock: clock})
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := d.Range(context.Background(), 20)
	fmt.Println(d, b.RangeMM, b.Valid, err)
	// Output: vl53l0x by the kernel (iio:device0) 123 20 <nil>
}
