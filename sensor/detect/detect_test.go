package detect_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"testing/fstest"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/detect"
	"nightjar/sensor/ds18b20"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
)

// chips makes every simulated ranger.
func chips() map[string]sim.Device {
	c := sim.NewClock(time.Unix(0, 0), time.Minute)
	s := sim.Card(100)
	return map[string]sim.Device{
		"vl53l0x": sim.NewVL53L0X(c, s, sim.ChipOpts{}), "vl53l1x": sim.NewVL53L1X(c, s, sim.ChipOpts{}),
		"vl53l4cd": sim.NewVL53L4CD(c, s, sim.ChipOpts{}), "vl6180x": sim.NewVL6180X(c, s, sim.ChipOpts{}),
	}
}

// stranger answers at an address with a byte that depends on nothing.
type stranger struct {
	addr  uint16
	value byte
}

func (s stranger) Answers(addr uint16) bool { return addr == s.addr }

func (s stranger) Tx(_ uint16, _, r []byte) error {
	for i := range r {
		r[i] = s.value
	}
	return nil
}

func TestChip(t *testing.T) {
	t.Parallel()
	for name, dev := range chips() {
		got, err := detect.Chip(sim.NewBus("I2C1", dev), 0x29)
		require.NoError(t, err, name)
		assert.Equal(t, name, got)
	}
	_, err := detect.Chip(sim.NewBus("I2C1"), 0x29)
	require.ErrorIs(t, err, sensor.ErrAbsent)
	for _, value := range []byte{0x00, 0x01, 0x5A, 0xFF} {
		_, err = detect.Chip(sim.NewBus("I2C1", stranger{0x29, value}), 0x29)
		require.ErrorIs(t, err, sensor.ErrIdentity, "%02x", value)
	}
	held := sim.NewBus("I2C1")
	held.Inject(sim.FailWhile(func() bool { return true }, sim.ErrHeld))
	_, err = detect.Chip(held, 0x29)
	require.ErrorIs(t, err, sensor.ErrBus)
}

// TestAskingChangesNothing: a ranger that is asked who it is keeps its settings.
func TestAskingChangesNothing(t *testing.T) {
	t.Parallel()
	for name, dev := range chips() {
		bus := sim.NewBus("I2C1", dev)
		index := []byte{0x00, 0x01}
		if name == "vl53l0x" {
			index = index[1:]
		}
		before, after := make([]byte, 64), make([]byte, 64)
		require.NoError(t, bus.Tx(0x29, index, before))
		_, err := detect.Chip(bus, 0x29)
		require.NoError(t, err)
		require.NoError(t, bus.Tx(0x29, index, after))
		assert.Equal(t, before, after, name)
	}
}

// TestAVL53L0XLeftInMidSetUpIsKnown: on another page, or in reset.
func TestAVL53L0XLeftInMidSetUpIsKnown(t *testing.T) {
	t.Parallel()
	for _, left := range [][]byte{{0xFF, 1}, {0xFF, 7}, {0xBF, 0}} {
		bus := sim.NewBus("I2C1", chips()["vl53l0x"])
		require.NoError(t, bus.Tx(0x29, left, nil))
		got, err := detect.Chip(bus, 0x29)
		require.NoError(t, err, "%x", left)
		assert.Equal(t, "vl53l0x", got)
	}
}

// crowded is a bus with a ranger that was moved, a multiplexer with two rangers and a stranger, and a chip at an
// address of multiplexers that is none.
func crowded() *sim.Bus {
	all := chips()
	m := sim.NewTCA9548A(0x70)
	m.Channel(0).Attach(all["vl53l4cd"])
	m.Channel(5).Attach(all["vl53l0x"])
	m.Channel(7).Attach(stranger{0x29, 0x77})
	bus := sim.NewBus("I2C1", m, stranger{0x76, 0x58}, all["vl6180x"])
	if err := bus.Tx(0x29, []byte{0x02, 0x12, 0x30}, nil); err != nil { // moves the VL6180X
		panic(err)
	}
	return bus
}

func TestScan(t *testing.T) {
	t.Parallel()
	bus := crowded()
	got := detect.Scan(bus, 1, 0x30, 0x29, 0x71)
	want := detect.Bus{Number: 1, Muxes: []uint16{0x70}, Found: []detect.Found{
		{Place: detect.Place{Bus: 1, Address: 0x30}, Chip: "vl6180x", Note: "hides what is behind the multiplexer at the same address: move it to a channel of its own"},
		{Place: detect.Place{Bus: 1, Mux: 0x70, Channel: 0, Address: 0x29}, Chip: "vl53l4cd"},
		{Place: detect.Place{Bus: 1, Mux: 0x70, Channel: 5, Address: 0x29}, Chip: "vl53l0x"},
		{Place: detect.Place{Bus: 1, Mux: 0x70, Channel: 7, Address: 0x29}, Note: "no ranger that is known, or several at once"},
	}}
	assert.Equal(t, want, got)
	state := []byte{9}
	require.NoError(t, bus.Tx(0x70, nil, state))
	assert.Zero(t, state[0], "all channels are off again")
}

func TestScanOfABusThatDoesNotMove(t *testing.T) {
	t.Parallel()
	bus := crowded()
	bus.Inject(sim.FailWhile(func() bool { return true }, sim.ErrHeld))
	got := detect.Scan(bus, 1)
	assert.Empty(t, got.Found)
	assert.Contains(t, got.Trouble, "timed out")
}

func report(buses ...i2c.Bus) detect.Report {
	var r detect.Report
	for i, b := range buses {
		r.Buses = append(r.Buses, detect.Scan(b, i+1))
	}
	return r
}

func TestConfigProposesAStationForEachRanger(t *testing.T) {
	t.Parallel()
	r := report(crowded(), sim.NewBus("I2C2", chips()["vl53l1x"]))
	r.Probes = []ds18b20.Info{{ID: "28-3c01f0964a11", Resolution: 12, External: 1}, {ID: "28-3c01f0965b22", External: 0}}
	assert.Equal(t, `[[station]]
name = "spot1"
chip = "vl53l4cd"
bus = 1
mux = "0x70/0"
# jar_probe, dough_probe, room_probe: warm one in the hand to see which is which
#   "28-3c01f0964a11"
#   "28-3c01f0965b22"
jar_probe = "none"

[[station]]
name = "spot2"
chip = "vl53l0x"
bus = 1
mux = "0x70/5"
# jar_probe, dough_probe, room_probe: warm one in the hand to see which is which
#   "28-3c01f0964a11"
#   "28-3c01f0965b22"
jar_probe = "none"

[[station]]
name = "spot3"
chip = "vl53l1x"
bus = 2
# jar_probe, dough_probe, room_probe: warm one in the hand to see which is which
#   "28-3c01f0964a11"
#   "28-3c01f0965b22"
jar_probe = "none"
`, r.Config())
	assert.Empty(t, detect.Report{}.Config())
}

func TestLookReadsTheKernelsFiles(t *testing.T) {
	t.Parallel()
	r := report(sim.NewBus("I2C1"))
	r.Look(fstest.MapFS{
		"bus/w1/devices/28-3c01f0964a11/resolution":   {Data: []byte("12\n")},
		"bus/w1/devices/28-3c01f0964a11/ext_power":    {Data: []byte("0\n")},
		"bus/iio/devices/iio:device0/name":            {Data: []byte("vl53l0x\n")},
		"bus/iio/devices/iio:device0/in_distance_raw": {Data: []byte("12\n")},
		"class/hwmon/hwmon2/name":                     {Data: []byte("sht3x\n")},
		"class/hwmon/hwmon2/humidity1_input":          {Data: []byte("50000\n")},
	})
	assert.Equal(t, []string{
		"bus 1: no ranger at 0x29",
		"iio:device0: a driver of the kernel has the distance sensor vl53l0x; unload it, so that its status can be read",
		"probe 28-3c01f0964a11, 12 bits, without a supply wire (give it one: it may say 127.94 °C otherwise)",
		"room sensor sht3x at class/hwmon/hwmon2",
	}, r.Lines())
	var bare detect.Report
	bare.Look(fstest.MapFS{})
	require.Len(t, bare.Lines(), 1)
	assert.Contains(t, bare.Lines()[0], "dtoverlay=w1-gpio")
}

func TestReportAsJSON(t *testing.T) {
	t.Parallel()
	r := report(sim.NewBus("I2C1", chips()["vl53l4cd"]))
	r.Probes = []ds18b20.Info{{ID: "28-3c01f0964a11", Resolution: 12, External: 1, HWMon: true}}
	got, err := json.Marshal(r)
	require.NoError(t, err)
	assert.JSONEq(t, `{"buses":[{"number":1,"found":[{"bus":1,"address":41,"chip":"vl53l4cd"}]}],
		"probes":[{"id":"28-3c01f0964a11","resolution":12,"features":0,"external":1,"hwmon":true}]}`, string(got))
}

func Example() {
	clock := sim.NewClock(time.Now(), 0)
	bus := sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(100), sim.ChipOpts{}))
	r := detect.Report{Buses: []detect.Bus{detect.Scan(bus, 1)}}
	fmt.Println(r.Lines()[0])
	fmt.Print(r.Config())
	// Output:
	// VL53L4CD at 0x29 on bus 1
	// [[station]]
	// name = "main"
	// chip = "vl53l4cd"
	// bus = 1
	// jar_probe = "none"
}
