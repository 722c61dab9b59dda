package ds18b20_test

import (
	"context"
	"io/fs"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/ds18b20"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

const (
	jar   = "28-0000071f5a01"
	other = "28-0000071f5a02"
	third = "28-0000071f5a03"
)

// kernels names the two generations that every test of files runs on.
var kernels = map[string]sim.Kernel{"new kernel": sim.NewKernel, "old kernel": sim.OldKernel}

func steady(c float64) func(time.Duration) float64 { return func(time.Duration) float64 { return c } }

func newBus(t *testing.T) (*sim.OneWire, *sim.Clock, *ds18b20.Bus) {
	t.Helper()
	clock := sim.NewClock(time.Date(2026, 10, 3, 20, 0, 0, 0, time.UTC), time.Minute)
	wire, err := sim.NewOneWire(t.TempDir(), clock)
	require.NoError(t, err)
	return wire, clock, ds18b20.New(wire, clock, nil)
}

func probe(t *testing.T, b *ds18b20.Bus, id string) *ds18b20.Probe {
	t.Helper()
	p, err := b.Probe(id)
	require.NoError(t, err)
	return p
}

// celsius reads a probe that must answer.
func celsius(t *testing.T, p *ds18b20.Probe) float64 {
	t.Helper()
	got, err := p.Temperature(t.Context())
	require.NoError(t, err)
	return got.Celsius()
}

func TestReadsWhatTheSensorMeasures(t *testing.T) {
	t.Parallel()
	for name, kernel := range kernels {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			wire, clock, bus := newBus(t)
			require.NoError(t, wire.Plug(jar, kernel, func(at time.Duration) float64 { return 20 + at.Hours() }, nil))
			p := probe(t, bus, "")
			for range 30 {
				// 12 bits resolve 1/16 °C.
				assert.InDelta(t, 20+clock.Boot().Hours(), celsius(t, p), 1.0/32+0.001)
				require.NoError(t, clock.Sleep(t.Context(), 20*time.Minute))
			}
			assert.Equal(t, "DS18B20 "+jar, p.String())
		})
	}
}

// Every x.25 °C has 0C in byte 6 of a genuine part's scratchpad (cpetrich/counterfeit_DS18B20 issue 26,
// robert-hh/Onewire_DS18X20 issue 16): that is no sign of a fault.
func TestQuarterDegreesAreNoFault(t *testing.T) {
	t.Parallel()
	for name, kernel := range kernels {
		wire, _, bus := newBus(t)
		require.NoError(t, wire.Plug(jar, kernel, steady(25.25), nil))
		assert.InDelta(t, 25.25, celsius(t, probe(t, bus, "")), 1e-9, name)
		text, err := fs.ReadFile(wire, jar+"/w1_slave")
		require.NoError(t, err)
		assert.Contains(t, string(text), "7f ff 0c 10", name)
	}
}

func TestFaultsAreRefusedAndGoAway(t *testing.T) {
	t.Parallel()
	faults := []struct {
		name  string
		fault sim.WireFault
		want  map[sim.Kernel]error
	}{
		{"folder gone", sim.WireUnplugged, map[sim.Kernel]error{sim.NewKernel: sensor.ErrAbsent, sim.OldKernel: sensor.ErrAbsent}},
		{"floating", sim.WireFloating, map[sim.Kernel]error{sim.NewKernel: sensor.ErrAbsent, sim.OldKernel: sensor.ErrAbsent}},
		{"shorted", sim.WireShorted, map[sim.Kernel]error{sim.NewKernel: sensor.ErrBadValue, sim.OldKernel: sensor.ErrBadValue}},
		{"noise", sim.WireNoise, map[sim.Kernel]error{sim.NewKernel: sensor.ErrAbsent, sim.OldKernel: sensor.ErrBadValue}},
		{"power-on value", sim.WirePowerOn, map[sim.Kernel]error{sim.NewKernel: sensor.ErrBadValue, sim.OldKernel: sensor.ErrBadValue}},
		{"starved", sim.WireStarved, map[sim.Kernel]error{sim.NewKernel: sensor.ErrBadValue, sim.OldKernel: sensor.ErrBadValue}},
		{"empty read", sim.WireSilent, map[sim.Kernel]error{sim.NewKernel: sensor.ErrAbsent, sim.OldKernel: sensor.ErrAbsent}},
	}
	for _, tt := range faults {
		for name, kernel := range kernels {
			t.Run(tt.name+", "+name, func(t *testing.T) {
				t.Parallel()
				wire, clock, bus := newBus(t)
				require.NoError(t, wire.Plug(jar, kernel, steady(24.5), nil))
				p := probe(t, bus, jar)
				for range 3 {
					assert.InDelta(t, 24.5, celsius(t, p), 1e-9)
					require.NoError(t, wire.Spoil(jar, tt.fault))
					for range 4 {
						require.NoError(t, clock.Sleep(t.Context(), 30*time.Second))
						_, err := p.Temperature(t.Context())
						require.ErrorIs(t, err, tt.want[kernel])
						assert.ErrorContains(t, err, jar)
					}
					require.NoError(t, wire.Spoil(jar, sim.WireGood))
				}
			})
		}
	}
}

// The folder of a sensor disappears for a while: tobyweston/temperature-machine issue 104.
func TestSensorVanishesAndComesBackAsAnother(t *testing.T) {
	t.Parallel()
	wire, clock, _ := newBus(t)
	var notices []string
	bus := ds18b20.New(wire, clock, &ds18b20.Opts{Replaced: func(was, now string) { notices = append(notices, was+" "+now) }})
	require.NoError(t, wire.Plug(jar, sim.NewKernel, steady(24), nil))
	require.NoError(t, wire.Plug(other, sim.NewKernel, steady(19), nil))
	p, room := probe(t, bus, jar), probe(t, bus, other)
	celsius(t, p)
	celsius(t, room)

	require.NoError(t, wire.Spoil(jar, sim.WireUnplugged))
	_, err := p.Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrAbsent, "the room's probe is no replacement for the jar's")
	assert.ErrorContains(t, err, other)

	require.NoError(t, wire.Plug(third, sim.NewKernel, steady(25), nil))
	for range 3 {
		assert.InDelta(t, 25, celsius(t, p), 1e-9)
		assert.InDelta(t, 19, celsius(t, room), 1e-9)
	}
	assert.Equal(t, third, p.ID())
	assert.Equal(t, []string{jar + " " + third}, notices)

	require.NoError(t, wire.Spoil(jar, sim.WireGood))
	assert.InDelta(t, 24, celsius(t, p), 1e-9, "the one asked for is preferred once it is back")
	assert.Equal(t, []string{jar + " " + third, third + " " + jar}, notices)
}

// A sensor that lay on the bus all the time measures something else, whether a probe was configured for it or not.
func TestBystanderIsNoReplacement(t *testing.T) {
	t.Parallel()
	wire, _, bus := newBus(t)
	require.NoError(t, wire.Plug(jar, sim.NewKernel, steady(24), nil))
	require.NoError(t, wire.Plug(other, sim.NewKernel, steady(60), nil))
	p := probe(t, bus, jar)
	celsius(t, p)
	require.NoError(t, wire.Spoil(jar, sim.WireUnplugged))
	_, err := p.Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrAbsent)
}

func TestWhichSensor(t *testing.T) {
	t.Parallel()
	wire, _, bus := newBus(t)
	unnamed := probe(t, bus, "")
	_, err := unnamed.Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrAbsent)

	require.NoError(t, wire.Plug(jar, sim.NewKernel, steady(24), nil))
	require.NoError(t, wire.Plug(other, sim.OldKernel, steady(19), nil))
	_, err = unnamed.Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrIdentity)
	assert.ErrorContains(t, err, jar+", "+other)

	named := probe(t, bus, other)
	assert.InDelta(t, 24, celsius(t, unnamed), 1e-9, "the only one that no other probe has")
	assert.InDelta(t, 19, celsius(t, named), 1e-9)

	_, err = probe(t, bus, third).Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrAbsent)
	assert.ErrorContains(t, err, third)
	for _, id := range []string{"28", "10-0000071f5a01", "28-0000071F5A0G", "../28-0000071f5a01"} {
		_, err := bus.Probe(id)
		assert.Error(t, err, id)
	}
}

func TestMachineWithoutOneWire(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(time.Unix(0, 0), 0)
	bus := ds18b20.New(emptyFS{}, clock, nil)
	_, err := probe(t, bus, "").Temperature(t.Context())
	require.ErrorIs(t, err, sensor.ErrBus)
	assert.ErrorContains(t, err, "dtoverlay=w1-gpio")
	_, err = bus.List()
	require.ErrorIs(t, err, sensor.ErrBus)
}

type emptyFS struct{}

func (emptyFS) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: syscall.ENOENT}
}

// opened notes which files of a folder are opened.
type opened struct {
	fs.FS
	names []string
}

func (o *opened) Open(name string) (fs.File, error) {
	o.names = append(o.names, name)
	return o.FS.Open(name)
}

// TestNothingElseIsTouched: with two bus masters, of which the second has no therm_bulk_read (raspberrypi/linux PR 5069),
// and none is needed. An fs.FS cannot be written to at all.
func TestNothingElseIsTouched(t *testing.T) {
	t.Parallel()
	slave := []byte("4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n")
	o := &opened{FS: fstest.MapFS{
		"w1_bus_master1/therm_bulk_read": {Data: []byte("0\n")}, "w1_bus_master2/w1_master_name": {Data: []byte("w1_bus_master2\n")},
		jar + "/w1_slave": {Data: slave}, other + "/w1_slave": {Data: slave}, "10-0000071f5a01/w1_slave": {Data: slave},
	}}
	bus := ds18b20.New(o, sim.NewClock(time.Unix(0, 0), 0), nil)
	for _, id := range []string{jar, other} {
		assert.InDelta(t, 20.687, celsius(t, probe(t, bus, id)), 1e-9)
	}
	for _, name := range o.names {
		assert.Regexp(t, `^(\.|28-[0-9a-f]{12}(/hwmon|/w1_slave)?)$`, name)
	}
}

func TestListTellsWhatTheKernelSays(t *testing.T) {
	t.Parallel()
	wire, _, bus := newBus(t)
	require.NoError(t, wire.Plug(jar, sim.NewKernel, steady(24), nil))
	require.NoError(t, wire.Plug(other, sim.OldKernel, steady(24), nil))
	got, err := bus.List()
	require.NoError(t, err)
	assert.Equal(t, []ds18b20.Info{
		{ID: jar, Resolution: 12, Features: 0, External: 1, HWMon: true},
		{ID: other, Resolution: -1, Features: -1, External: -1},
	}, got)
}

// faulty is a folder whose files fail or hang by name.
type faulty struct {
	files fstest.MapFS
	errs  map[string]error
	hang  chan struct{} // opening a w1_slave or temp1_input waits for it; nil is no wait
	opens atomic.Int32
}

func (f *faulty) Open(name string) (fs.File, error) {
	if err, ok := f.errs[name]; ok {
		return nil, &fs.PathError{Op: "read", Path: name, Err: err}
	}
	if f.hang != nil && name == jar+"/w1_slave" {
		f.opens.Add(1)
		<-f.hang
	}
	return f.files.Open(name)
}

func TestErrorsOfTheKernel(t *testing.T) {
	t.Parallel()
	const hw = jar + "/hwmon/hwmon4/temp1_input"
	good := "4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n"
	tests := []struct {
		name  string
		errs  map[string]error
		slave string
		want  error
	}{
		{"hwmon fails once, the scratchpad is sound", map[string]error{hw: syscall.EIO}, good, nil},
		{"both fail", map[string]error{hw: syscall.EIO, jar + "/w1_slave": syscall.EIO}, good, sensor.ErrBadValue},
		{"no presence", map[string]error{hw: syscall.ENODEV}, "", sensor.ErrAbsent},
		{"no such device", map[string]error{hw: syscall.ENODEV, jar + "/w1_slave": syscall.ENODEV}, "", sensor.ErrAbsent},
		{"bus busy", map[string]error{hw: syscall.EAGAIN, jar + "/w1_slave": syscall.EAGAIN}, "", sensor.ErrTimeout},
		{"not allowed", map[string]error{hw: syscall.EACCES, jar + "/w1_slave": syscall.EACCES}, "", sensor.ErrBus},
	}
	for _, tt := range tests {
		files := &faulty{errs: tt.errs, files: fstest.MapFS{
			hw: {Data: []byte("20687\n")}, jar + "/w1_slave": {Data: []byte(tt.slave)},
		}}
		p := probe(t, ds18b20.New(files, sim.NewClock(time.Unix(0, 0), 0), nil), jar)
		got, err := p.Temperature(t.Context())
		require.ErrorIs(t, err, tt.want, tt.name)
		if tt.want == nil {
			assert.InDelta(t, 20.687, got.Celsius(), 1e-9, tt.name)
		}
	}
}

// A read of a sysfs file cannot be interrupted. A bus that hangs costs the deadline once, holds one goroutine, and all
// is well once it moves again. (The bubble fails if a goroutine is left.)
func TestHungBusBlocksNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		files := &faulty{hang: make(chan struct{}), files: fstest.MapFS{
			jar + "/w1_slave": {Data: []byte("4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n")},
		}}
		p := probe(t, ds18b20.New(files, sim.NewClock(time.Unix(0, 0), 0), nil), "")
		began := time.Now()
		for range 10 {
			_, err := p.Temperature(t.Context())
			require.ErrorIs(t, err, sensor.ErrTimeout)
		}
		assert.Equal(t, 5*time.Second, time.Since(began), "the deadline is waited for once")
		assert.EqualValues(t, 1, files.opens.Load(), "no second read is started over the first")
		close(files.hang)
		synctest.Wait()
		got, err := p.Temperature(t.Context())
		require.NoError(t, err)
		assert.Equal(t, physic.ZeroCelsius+20_687*physic.MilliKelvin, got)
	})
}

func TestCancelEndsTheWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		files := &faulty{hang: make(chan struct{}), files: fstest.MapFS{jar + "/w1_slave": {}}}
		p := probe(t, ds18b20.New(files, sim.NewClock(time.Unix(0, 0), 0), nil), jar)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		_, err := p.Temperature(ctx)
		require.ErrorIs(t, err, context.DeadlineExceeded)
		close(files.hang)
	})
}
