package vl53l1x

import (
	"maps"
	"slices"
	"strconv"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor/internal/vl53"
	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

var dusk = time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC)

// TestDecodeAgreesWithSTsDriver: all 32 statuses and the extremes, from stm32duino/VL53L1X 5aa46e7. Its block has two
// bytes more, and its signal is the one corrected for crosstalk, which in these vectors is mostly the same.
func TestDecodeAgreesWithSTsDriver(t *testing.T) {
	t.Parallel()
	type vector struct {
		Block   sensortest.Hex `json:"block"`
		Raw     uint8          `json:"raw_status"`
		Decoded struct {
			RangeMM uint16 `json:"range_mm"`
			Status  int    `json:"status"`
			SPADs   int    `json:"spads"`
			Signal  int    `json:"signal_kcps"`
			Ambient int    `json:"ambient_kcps"`
		} `json:"decoded"`
	}
	// ST's status (UM2510) and what it is in the common set.
	common := map[int]rise.Status{0: rise.StatusGood, 1: rise.StatusNoisy, 2: rise.StatusWeak, 3: rise.StatusTooNear,
		4: rise.StatusWrapped, 5: rise.StatusHardware, 6: rise.StatusOther, 7: rise.StatusWrapped, 9: rise.StatusWeak,
		10: rise.StatusOther, 11: rise.StatusNoisy, 12: rise.StatusWeak, 13: rise.StatusOther, 255: rise.StatusOther}
	signals := 0
	for _, v := range sensortest.Vectors[vector](t, "vl53l1x.decode_vectors.stuld.json") {
		got, err := vl53.Decode(v.Block)
		require.NoError(t, err)
		assert.Equal(t, v.Raw, got.Raw)
		want, ok := common[v.Decoded.Status]
		if v.Raw >= 24 { // beyond ST's table; its driver hands the raw status on
			want, ok = rise.StatusOther, true
		}
		require.True(t, ok, "status %d", v.Decoded.Status)
		if v.Raw == 1 || v.Raw == 2 || v.Raw == 17 { // ST's table has 255 for these; by name they are the laser's and the VHV's
			want = rise.StatusHardware
		}
		if got.SPADs == 0 || got.RangeMM >= 8190 {
			want = rise.StatusOther
		}
		assert.Equal(t, want, got.Sample().Status, "%x", []byte(v.Block))
		assert.Equal(t, v.Decoded.RangeMM, got.RangeMM, "%x", []byte(v.Block))
		assert.Equal(t, v.Decoded.SPADs, int(got.SPADs), "%x", []byte(v.Block))
		assert.Equal(t, uint16(v.Decoded.Ambient), uint16(got.AmbientMcps*128*8), "%x", []byte(v.Block))
		if slices.Equal(v.Block[5:7], v.Block[15:17]) {
			signals++
			assert.Equal(t, uint16(v.Decoded.Signal), uint16(got.SignalMcps*128*8), "%x", []byte(v.Block))
		}
	}
	assert.Greater(t, signals, 30)
}

// TestBudgetsAreSTs checks the table's pair for 33 ms, where ST's own is a slip, against the formula as
// pololu/vl53l1x-arduino 8f21d60 computes it, and all pairs against each other: both ranges get the same light.
func TestBudgetsAreSTs(t *testing.T) {
	t.Parallel()
	type vector struct {
		Osc      string `json:"osc"`
		Mode     string `json:"mode"`
		BudgetUS int    `json:"budget_us"`
		A        string `json:"reg_5e"`
		B        string `json:"reg_61"`
	}
	found := false
	for _, v := range sensortest.Vectors[vector](t, "vl53l1x.timing_vectors.pololu.json") {
		if v.Osc != "bc7a" || v.Mode != "short" || v.BudgetUS != 33000 {
			continue
		}
		found = true
		for i, reg := range []string{v.A, v.B} {
			want, err := strconv.ParseUint(reg, 16, 16)
			require.NoError(t, err)
			assert.Equal(t, uint16(want), timeouts[33*time.Millisecond][i])
		}
	}
	require.True(t, found)
	periods := func(v uint16) float64 { return float64(int(v&0xFF)<<(v>>8)) + 1 }
	for budget, p := range timeouts {
		a, b := 16*periods(p[0]), 12*periods(p[1])
		assert.InEpsilon(t, a, b, 0.15, budget)
	}
}

// TestIntervalIsSTs: recorded for 1000 ms with a calibration value of 0024.
func TestIntervalIsSTs(t *testing.T) {
	t.Parallel()
	assert.Equal(t, uint32(0x972C), encodeInterval(0x0024, time.Second))
	assert.Equal(t, uint32(0x972C), encodeInterval(0xFC24, time.Second), "only the low ten bits count")
}

func TestROI(t *testing.T) {
	t.Parallel()
	tests := []struct {
		roi     ROI
		optical byte
		centre  byte
		size    byte
		bad     bool
	}{
		{roi: ROI{}, optical: 0xC7, centre: 0xC7, size: 0x77},
		{roi: ROI{}, optical: 0xBE, centre: 0xBE, size: 0x77},
		{roi: ROI{}, optical: 0x00, centre: 199, size: 0x77}, // a part whose value was lost
		{roi: ROI{Width: 4, Height: 4}, optical: 0xC7, centre: 0xC7, size: 0x33},
		{roi: ROI{Width: 16, Height: 16}, optical: 0xBE, centre: 199, size: 0xFF},
		{roi: ROI{Width: 4, Height: 8, Centre: 199}, centre: 199, size: 0x73},
		{roi: ROI{Width: 3, Height: 8}, bad: true},
		{roi: ROI{Width: 8, Height: 17}, bad: true},
		{roi: ROI{Width: 8}, bad: true},
		{roi: ROI{Width: 16, Height: 16, Centre: 200}, bad: true}, // adafruit/Adafruit_VL53L1X issue 11
		{roi: ROI{Width: 8, Height: 8, Centre: 128}, bad: true},
	}
	for _, tt := range tests {
		got, err := tt.roi.checked()
		if tt.bad {
			assert.Error(t, err, "%+v", tt.roi)
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, tt.centre, got.at(tt.optical), "%+v", tt.roi)
		assert.Equal(t, tt.size, got.register(), "%+v", tt.roi)
	}
}

// TestPlaces: the corners and the middle of the array as AN5191 numbers them.
func TestPlaces(t *testing.T) {
	t.Parallel()
	for spad, want := range map[byte][2]int{128: {0, 0}, 135: {7, 0}, 248: {0, 15}, 255: {7, 15}, 127: {8, 0}, 120: {15, 0},
		7: {8, 15}, 0: {15, 15}, 199: {7, 8}} {
		row, column := place(spad)
		assert.Equal(t, want, [2]int{row, column}, "receiver %d", spad)
	}
}

// TestEveryRegionThatIsAcceptedRanges: the simulated chip has its own idea of the array's edge.
func TestEveryRegionThatIsAcceptedRanges(t *testing.T) {
	t.Parallel()
	for _, side := range []int{4, 5, 8, 13, 16} {
		for centre := 1; centre < 256; centre += 5 {
			_, err := ROI{Width: side, Height: side, Centre: byte(centre)}.checked()
			clock := sim.NewClock(dusk, time.Minute)
			c := sim.NewVL53L1X(clock, sim.Card(100), sim.ChipOpts{Quiet: true})
			d, nerr := New(sim.NewBus("I2C1", c), DefaultAddr, &Opts{Clock: clock, ROI: ROI{side, side, byte(centre)}})
			require.Equal(t, err == nil, nerr == nil)
			if err != nil {
				continue
			}
			b, err := d.Range(t.Context(), 2)
			require.NoError(t, err)
			assert.Equal(t, 2, b.Valid, "%d × %d around %d: %v", side, side, centre, b.Statuses)
		}
	}
}

// record makes a chip and a driver with what it writes recorded.
func record(t *testing.T, opts Opts, addr uint16) (*Dev, *sim.VL53, *sensortest.Recorder) {
	t.Helper()
	opts.Clock = sim.NewClock(dusk, time.Minute)
	c := sim.NewVL53L1X(opts.Clock, sim.Card(123), sim.ChipOpts{})
	if addr != DefaultAddr {
		opts.XSHUT = c.XSHUT()
	}
	bus := sim.NewBus("I2C1", c)
	rec := &sensortest.Recorder{IndexBytes: 2}
	bus.Watch(rec.Watch)
	d, err := New(bus, addr, &opts)
	require.NoError(t, err)
	return d, c, rec
}

// differ lists the registers in which our settings differ from ST's driver's on purpose, and what they are.
var differ = map[string]string{
	"002e": "01", "002f": "01", // 2.8 V levels
	"0064": "00", "0065": "3c", // our own sigma threshold, 15 mm
	"006e": "0f", "006f": "1e", // an interval of 100 ms, recorded with 1000 ms
}

// TestSettingsAreAsRecorded compares every register that ST's driver leaves before it starts with ours.
func TestSettingsAreAsRecorded(t *testing.T) {
	t.Parallel()
	d, _, rec := record(t, Opts{ROI: ROI{Width: 4, Height: 4}}, DefaultAddr)
	_, err := d.Range(t.Context(), 2)
	require.NoError(t, err)
	want := maps.Clone(sensortest.LoadTrace(t, "vl53l1x.stuld.json").Before)
	maps.Copy(want, differ)
	got := map[string]string{}
	for _, w := range rec.Writes[:slices.Index(rec.Writes, "008033")+1] { // the region is the last setting
		got[w[:4]] = w[4:]
	}
	delete(got, "0000") // the reset
	assert.Equal(t, want, got)
}

// TestWritesComeInTheRecordedOrder: block, calibration, mode, budget, interval, region, start, clear, stop.
func TestWritesComeInTheRecordedOrder(t *testing.T) {
	t.Parallel()
	trace := sensortest.LoadTrace(t, "vl53l1x.stuld.json")
	var want []string
	for _, phase := range []string{"sensor_init", "set_distance_mode_short", "set_inter_measurement_ms_1000", "set_roi_4x4", "start",
		"clear_interrupt", "stop"} {
		want = append(want, sensortest.Writes(trace.Phase(t, phase), 2)...)
	}
	want = slices.DeleteFunc(want, func(w string) bool { _, ok := differ[w[:4]]; return ok })
	d, _, rec := record(t, Opts{ROI: ROI{Width: 4, Height: 4}}, DefaultAddr)
	_, err := d.Range(t.Context(), 2)
	require.NoError(t, err)
	sensortest.RequireInOrder(t, want, rec.Writes)
}

// TestExtrasAreAsRecorded: temperature update, offset, crosstalk, region and address change write what ST's driver
// writes.
func TestExtrasAreAsRecorded(t *testing.T) {
	t.Parallel()
	trace := sensortest.LoadTrace(t, "vl53l1x.stuld.extras.json")
	d, _, rec := record(t, Opts{OffsetMM: rise.Known(-12), CrosstalkKcps: rise.Known(0.1)}, 0x30)
	sensortest.RequireInOrder(t, sensortest.Writes(trace.Phase(t, "set_address_0x30"), 2), rec.Writes)
	for i, celsius := range []int{20, 29} {
		d.SetTemperature(physic.ZeroCelsius + physic.Temperature(celsius)*physic.Kelvin)
		rec.Writes = nil
		_, err := d.Range(t.Context(), 1)
		require.NoError(t, err)
		phases := [][]string{{"set_roi_8x8", "set_offset_mm_-12", "set_xtalk_cps_100"}, {"temperature_update"}}[i]
		for _, phase := range phases {
			sensortest.RequireInOrder(t, sensortest.Writes(trace.Phase(t, phase), 2), rec.Writes)
		}
	}
}
