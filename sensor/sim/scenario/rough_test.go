package scenario_test

import (
	_ "embed"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/ambient"
	"nightjar/sensor/ds18b20"
	"nightjar/sensor/recovery"
	"nightjar/sensor/sim/scenario"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

//go:embed rough.toml
var rough string

const (
	faultLength = 7 * time.Minute
	faultEvery  = 25 * time.Minute
)

// roughNight is the scenario with each kind of fault in turn.
func roughNight(t *testing.T) scenario.Scenario {
	t.Helper()
	s, err := scenario.Load(strings.NewReader(rough))
	require.NoError(t, err)
	for i, kind := range scenario.Kinds() {
		s.Faults = append(s.Faults, scenario.Fault{At: time.Duration(i+1) * faultEvery, For: faultLength, Kind: kind, Probe: "jar", MM: 3, Mcps: 15})
	}
	require.Greater(t, s.Length, time.Duration(len(s.Faults)+1)*faultEvery)
	return s
}

// looks tells the kinds of fault that change what there is to see: then a wrong level is the truth, or, with fog and
// walls, what no chip can know by itself.
var looks = map[string]bool{"away": true, "blister": true, "bump": true, "fog": true, "hand": true, "lid": true, "walls": true, "blind": true}

// TestARoughNightGivesNoWrongReading: every kind of fault, with every chip's real driver. Ranges are right or refused,
// unless the view itself was changed; the station and its probe are back within three ticks; nothing is left behind.
func TestARoughNightGivesNoWrongReading(t *testing.T) {
	before := goleak.IgnoreCurrent()
	files := openFiles(t)
	for _, chip := range []string{"vl53l4cd", "vl53l1x", "vl53l0x", "vl6180x"} {
		s := roughNight(t)
		s.Setups[0].Chip = chip
		tolerance := 2.5
		if chip == "vl6180x" {
			s.Setups[0].Jar.FloorMM = 125
		}
		w, clock := buildClock(t, s, 0)
		st := w.Stations[0]
		dev := recovery.New(chip, func() (sensor.Ranger, error) { return open(w, st, clock) })
		probe, err := ds18b20.New(w.Probes, clock, nil).Probe(st.JarProbe)
		require.NoError(t, err)
		lost, lostProbe, good := 0, 0, 0
		for w.Elapsed() < s.Length {
			at := w.Elapsed()
			kind, during := underWay(s, at)
			truth := st.True(at)
			b, err := dev.Range(t.Context(), 10)
			mm, ok := b.RangeMM.Get()
			if ok && !(during && looks[kind]) {
				assert.InDelta(t, st.Jar.FloorMM-truth.SurfaceMM, mm, tolerance, "%s, %s at %v", chip, kind, at)
				good++
			}
			if lost++; ok {
				lost = 0
			}
			got, errProbe := probe.Temperature(t.Context())
			if lostProbe++; errProbe == nil {
				lostProbe = 0
				assert.InDelta(t, truth.SampleC, got.Celsius(), 0.04, "%s, %s at %v", chip, kind, at)
			}
			if !during {
				assert.LessOrEqual(t, lost, int(faultLength/(30*time.Second))+3, "%s, after %s at %v: %v", chip, kind, at, err)
				if since(at) > faultLength+90*time.Second {
					assert.True(t, ok && errProbe == nil, "%s, not back after %s at %v: %v, %v", chip, kind, at, err, errProbe)
				}
			}
			sleep(t, clock, 30*time.Second-(w.Elapsed()-at)%(30*time.Second))
		}
		assert.Greater(t, good, 1000, chip)
	}
	goleak.VerifyNone(t, before)
	assert.LessOrEqual(t, openFiles(t), files, "files are left open")
}

// openFiles counts the files that this program holds open.
func openFiles(t *testing.T) int {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	require.NoError(t, err)
	return len(entries)
}

// since is the time since the newest fault began.
func since(at time.Duration) time.Duration {
	if at < faultEvery {
		return math.MaxInt64
	}
	return at % faultEvery
}

// underWay is the newest fault and whether it still lasts.
func underWay(s scenario.Scenario, at time.Duration) (kind string, during bool) {
	i := int(at/faultEvery) - 1
	if i < 0 || i >= len(s.Faults) {
		return "none", false
	}
	return s.Faults[i].Kind, since(at) < faultLength
}

func TestTheRoomsSensorTellsTheClimate(t *testing.T) {
	t.Parallel()
	w, clock := buildClock(t, scenario.Default(), 0)
	d := ambient.New(w.Sys, "")
	for range 4 {
		truth := w.Stations[0].True(w.Elapsed())
		c, err := d.Temperature(t.Context())
		require.NoError(t, err)
		assert.InDelta(t, truth.RoomC, c.Celsius(), 0.001)
		rh, err := d.Humidity(t.Context())
		require.NoError(t, err)
		assert.InDelta(t, truth.RoomRH, float64(rh)/1e5, 0.001)
		sleep(t, clock, 4*time.Hour)
	}
}

// TestSeveralRangersShareABus: each woken alone by its reset line and moved; a dip puts one back to the address where all
// wake, and it is found again.
func TestSeveralRangersShareABus(t *testing.T) {
	t.Parallel()
	s := plain()
	second := s.Setups[0]
	s.Setups[0].Address = 0x2A
	second.Name, second.Chip, second.Address, second.Jar.FloorMM = "starter", "vl6180x", 0x2B, 110
	second.JarProbe, second.DoughProbe, second.RoomProbe = "", "", ""
	s.Setups = append(s.Setups, second)
	s.Faults = []scenario.Fault{{At: time.Hour, Kind: "brownout", Station: "starter"}}
	w, clock := buildClock(t, s, 0)
	require.NoError(t, sensor.HoldInReset(w.Stations[0].XSHUT, w.Stations[1].XSHUT))
	var devs []sensor.Ranger
	for _, st := range w.Stations {
		d, err := open(w, st, clock)
		require.NoError(t, err)
		devs = append(devs, d)
	}
	for range 4 {
		for i, st := range w.Stations {
			b, err := devs[i].Range(t.Context(), 20)
			if err != nil { // the dip is noticed, and mended by the next tick
				require.ErrorIs(t, err, sensor.ErrAbsent)
				b, err = devs[i].Range(t.Context(), 20)
			}
			require.NoError(t, err)
			assert.InDelta(t, st.Jar.FloorMM-st.True(w.Elapsed()).SurfaceMM, b.RangeMM.Or(0), 2, st.Name)
		}
		sleep(t, clock, time.Hour)
	}
}
