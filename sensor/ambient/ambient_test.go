package ambient_test

import (
	"context"
	"fmt"
	"io/fs"
	"syscall"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/ambient"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func files(m map[string]string) fstest.MapFS {
	f := fstest.MapFS{}
	for name, text := range m {
		f[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return f
}

func read(t *testing.T, d *ambient.Dev) (c, rh float64) {
	t.Helper()
	temp, err := d.Temperature(t.Context())
	require.NoError(t, err)
	hum, err := d.Humidity(t.Context())
	require.NoError(t, err)
	return temp.Celsius(), float64(hum) / 1e5 // tenths of a millionth, physic.TenthMicroRH
}

func TestFollowsTheRoom(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(time.Unix(0, 0), 0)
	f, err := sim.NewFiles(t.TempDir(), clock)
	require.NoError(t, err)
	c := func(at time.Duration) float64 { return 23 - at.Hours() }
	rh := func(at time.Duration) float64 { return 40 + 2*at.Hours() }
	require.NoError(t, f.HWMonClimate("class/hwmon/hwmon3", "sht3x", c, rh))
	d := ambient.New(f, "")
	for range 4 {
		gotC, gotRH := read(t, d)
		assert.InDelta(t, c(clock.Boot()), gotC, 0.001)
		assert.InDelta(t, rh(clock.Boot()), gotRH, 0.001)
		require.NoError(t, clock.Sleep(t.Context(), time.Hour))
	}
	require.NoError(t, f.Remove("class/hwmon/hwmon3"))
	_, err = d.Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrAbsent)
	require.NoError(t, f.IIOClimate("bus/iio/devices/iio:device0", "bme280", c, rh))
	gotC, _ := read(t, d)
	assert.InDelta(t, c(clock.Boot()), gotC, 0.001)
}

// TestRawCountsAreScaled: a Si7021 counts 16 bits; its driver gives scale and offset so that (raw + offset) × scale are
// thousandths (drivers/iio/humidity/si7020.c: 2.68 and −17477 for the temperature, data sheet T = 175.72 × code/65536 −
// 46.85; 1.907348 and −3145 for the humidity, RH = 125 × code/65536 − 6). The files' numbers are from memory.
func TestRawCountsAreScaled(t *testing.T) {
	t.Parallel()
	const folder = "bus/iio/devices/iio:device1/"
	d := ambient.New(files(map[string]string{
		folder + "name":        "si7020\n",
		folder + "in_temp_raw": "26400\n", folder + "in_temp_scale": "2.681274\n", folder + "in_temp_offset": "-17473\n",
		folder + "in_humidityrelative_raw": "31400\n", folder + "in_humidityrelative_scale": "1.907349\n", folder + "in_humidityrelative_offset": "-3146\n",
	}), "SI7020")
	c, rh := read(t, d)
	assert.InDelta(t, 175.72*26400/65536-46.85, c, 0.02)
	assert.InDelta(t, 125*31400.0/65536-6, rh, 0.02)
}

func TestRefuses(t *testing.T) {
	t.Parallel()
	one := func(temp, rh string) map[string]string {
		return map[string]string{"class/hwmon/hwmon0/name": "sht4x\n", "class/hwmon/hwmon0/temp1_input": temp, "class/hwmon/hwmon0/humidity1_input": rh}
	}
	tests := []struct {
		name  string
		files fs.FS
		want  error
	}{
		{"nothing there", files(nil), sensor.ErrAbsent},
		{"too hot", files(one("125000\n", "125000\n")), sensor.ErrBadValue},
		{"too cold", files(one("-45000\n", "-6000\n")), sensor.ErrBadValue},
		{"empty", files(one("", "")), sensor.ErrAbsent},
		{"no number", files(one("hot\n", "NaN\n")), sensor.ErrBadValue},
		{"another name", files(map[string]string{"class/hwmon/hwmon0/name": "dht11\n", "class/hwmon/hwmon0/humidity1_input": "50000\n"}), sensor.ErrAbsent},
		{"checksum wrong", broken{files(one("1\n", "1\n")), syscall.EIO}, sensor.ErrBadValue},
		{"no answer", broken{files(one("1\n", "1\n")), syscall.ETIMEDOUT}, sensor.ErrTimeout},
	}
	for _, tt := range tests {
		d := ambient.New(tt.files, "sht4x")
		_, err := d.Temperature(t.Context())
		require.ErrorIs(t, err, tt.want, tt.name)
		_, err = d.Humidity(t.Context())
		require.ErrorIs(t, err, tt.want, tt.name)
		assert.ErrorContains(t, err, "room sensor sht4x")
	}
	two := files(map[string]string{"class/hwmon/hwmon0/humidity1_input": "1", "bus/iio/devices/iio:device0/in_humidityrelative_input": "1",
		"bus/iio/devices/iio:device0/in_humidityrelative_offset": "1"})
	_, err := ambient.New(two, "").Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrIdentity)
	assert.Len(t, ambient.List(two), 2)
}

// broken is a folder in which values cannot be read.
type broken struct {
	fstest.MapFS
	errno syscall.Errno
}

func (b broken) ReadFile(name string) ([]byte, error) {
	if len(name) > 6 && name[len(name)-6:] == "_input" {
		return nil, &fs.PathError{Op: "read", Path: name, Err: b.errno}
	}
	return b.MapFS.ReadFile(name)
}

// hung is a folder in which values never come.
type hung struct {
	fstest.MapFS
	hang chan struct{}
}

func (h hung) ReadFile(name string) ([]byte, error) {
	<-h.hang
	return h.MapFS.ReadFile(name)
}

func TestHungKernelBlocksNobody(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		h := hung{files(map[string]string{"class/hwmon/hwmon0/humidity1_input": "50000", "class/hwmon/hwmon0/temp1_input": "21000"}), make(chan struct{})}
		d := ambient.New(h, "")
		began := time.Now()
		for range 3 {
			_, err := d.Temperature(context.Background())
			require.ErrorIs(t, err, sensor.ErrTimeout)
		}
		assert.Equal(t, 5*time.Second, time.Since(began))
		close(h.hang)
		synctest.Wait()
		c, rh := read(t, d)
		assert.InDelta(t, 21, c, 1e-9)
		assert.InDelta(t, 50, rh, 1e-9)
	})
}

func Example() {
	d := ambient.New(fstest.MapFS{
		"class/hwmon/hwmon1/name":            {Data: []byte("sht3x\n")},
		"class/hwmon/hwmon1/temp1_input":     {Data: []byte("21370\n")},
		"class/hwmon/hwmon1/humidity1_input": {Data: []byte("48250\n")},
	}, "sht3x")
	c, err := d.Temperature(context.Background())
	fmt.Println(c, err)
	rh, err := d.Humidity(context.Background())
	fmt.Println(rh, err)
	// Output:
	// 21.370°C <nil>
	// 48.2%rH <nil>
}
