package scenario_test

import (
	"io/fs"
	"os"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor/ds18b20"
	"nightjar/sensor/sim"
	"nightjar/sensor/sim/scenario"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// build makes a scenario on a clock that stands at the given time after its start.
func build(t *testing.T, s scenario.Scenario, at time.Duration) *scenario.World {
	w, _ := buildClock(t, s, at)
	return w
}

func buildClock(t *testing.T, s scenario.Scenario, at time.Duration) (*scenario.World, *sim.Clock) {
	t.Helper()
	clock := sim.NewClock(s.Start.Add(at), 90*time.Second)
	w, err := s.Build(clock, t.TempDir())
	require.NoError(t, err)
	return w, clock
}

// plain is the default scenario with nothing going wrong.
func plain() scenario.Scenario {
	s := scenario.Default()
	s.Faults = nil
	return s
}

func sleep(t *testing.T, c *sim.Clock, d time.Duration) {
	t.Helper()
	require.NoError(t, c.Sleep(t.Context(), d))
}

// identity reads the ranger's identity over the bus.
func identity(w *scenario.World) ([]byte, error) {
	id := make([]byte, 2)
	err := w.Buses[1].Tx(0x29, []byte{0x01, 0x0F}, id)
	return id, err
}

func TestTheRangerLooksAtTheDough(t *testing.T) {
	t.Parallel()
	w, clock := buildClock(t, plain(), 0)
	st := w.Stations[0]
	for range 15 {
		at := w.Elapsed()
		want := st.Jar.FloorMM - st.True(at).SurfaceMM
		assert.InDelta(t, want, st.Target(clock.Boot()).DistanceMM, 1e-9)
		sleep(t, clock, time.Hour)
	}
	assert.Greater(t, st.True(12*time.Hour).Multiple, 2.0)
	assert.Less(t, st.True(12*time.Hour).SurfaceMM, st.Jar.FloorMM)
	id, err := identity(w)
	require.NoError(t, err)
	assert.Equal(t, []byte{0xEB, 0xAA}, id)
}

func TestTheProbesFollowTheKitchen(t *testing.T) {
	t.Parallel()
	for _, old := range []bool{false, true} {
		s := plain()
		s.Setups[0].OldKernel = old
		w, clock := buildClock(t, s, 0)
		bus := ds18b20.New(w.Probes, clock, nil)
		st := w.Stations[0]
		for range 5 {
			truth := st.True(w.Elapsed())
			for id, want := range map[string]float64{st.JarProbe: truth.SampleC, st.DoughProbe: truth.MainC, st.RoomProbe: truth.RoomC} {
				p, err := bus.Probe(id)
				require.NoError(t, err)
				got, err := p.Temperature(t.Context())
				require.NoError(t, err)
				assert.InDelta(t, want, got.Celsius(), 1.0/32+0.001)
			}
			sleep(t, clock, 3*time.Hour)
		}
	}
}

func TestBuiltLaterTheNightIsUnderWay(t *testing.T) {
	t.Parallel()
	early, clock := buildClock(t, scenario.Default(), 0)
	late, _ := buildClock(t, scenario.Default(), 7*time.Hour)
	sleep(t, clock, 7*time.Hour)
	assert.Equal(t, early.Elapsed(), late.Elapsed())
	now := 90*time.Second + 7*time.Hour
	assert.Equal(t, early.Stations[0].Target(now), late.Stations[0].Target(90*time.Second))
}

// fault makes the plain scenario with one fault from 2 h to 2 h 10 min.
func fault(kind string, length time.Duration) scenario.Scenario {
	s := plain()
	s.Faults = []scenario.Fault{{At: 2 * time.Hour, For: length, Kind: kind, Probe: "jar", MM: 5, Mcps: 9}}
	return s
}

const tenMinutes = 10 * time.Minute

func TestFaultsOfTheView(t *testing.T) {
	t.Parallel()
	tests := []struct {
		kind string
		want func(clear, got sim.Target) bool
	}{
		{"hand", func(_, got sim.Target) bool { return got.DistanceMM < 15 }},
		{"lid", func(_, got sim.Target) bool { return got.DistanceMM == 5 }},
		{"away", func(_, got sim.Target) bool { return got.DistanceMM == 152+5 }},
		{"bump", func(clear, got sim.Target) bool { return got.DistanceMM-clear.DistanceMM > 4.99 }},
		{"blister", func(clear, got sim.Target) bool { return clear.DistanceMM-got.DistanceMM > 2 }},
		{"fog", func(_, got sim.Target) bool { return got.CrosstalkMcps > 4 }},
		{"light", func(_, got sim.Target) bool { return got.AmbientMcps > 9 }},
		{"walls", func(clear, got sim.Target) bool { return clear.DistanceMM-got.DistanceMM > 4.99 }},
		{"blind", func(_, got sim.Target) bool { return got.None }},
	}
	for _, tt := range tests {
		clear, got := build(t, plain(), 0).Stations[0], build(t, fault(tt.kind, tenMinutes), 0).Stations[0]
		for at, on := range map[time.Duration]bool{time.Hour: false, 2*time.Hour + 5*time.Minute: true, 2*time.Hour + 11*time.Minute: false} {
			boot := at + 90*time.Second
			if on {
				assert.True(t, tt.want(clear.Target(boot), got.Target(boot)), "%s: %+v", tt.kind, got.Target(boot))
			} else {
				assert.Equal(t, clear.Target(boot), got.Target(boot), tt.kind)
			}
		}
	}
	st := build(t, fault("bump", 0), 0).Stations[0]
	clear := build(t, plain(), 0).Stations[0]
	assert.InDelta(t, 5, st.Target(14*time.Hour).DistanceMM-clear.Target(14*time.Hour).DistanceMM, 1e-9, "a bump stays")
}

func TestFaultsOfTheBus(t *testing.T) {
	t.Parallel()
	for kind, want := range map[string]error{"nack": sim.ErrNACK, "held": sim.ErrHeld, "unplugged": sim.ErrNACK} {
		w, clock := buildClock(t, fault(kind, tenMinutes), 0)
		sleep(t, clock, time.Hour)
		_, err := identity(w)
		require.NoError(t, err, kind)
		sleep(t, clock, time.Hour+5*time.Minute)
		_, err = identity(w)
		require.ErrorIs(t, err, want, kind)
		sleep(t, clock, 5*time.Minute+time.Second)
		_, err = identity(w)
		require.NoError(t, err, kind)
	}
}

func TestNoisyBusFlipsBits(t *testing.T) {
	t.Parallel()
	w, clock := buildClock(t, fault("noise", tenMinutes), 0)
	sleep(t, clock, 2*time.Hour)
	wrong := 0
	for range 400 {
		id, err := identity(w)
		require.NoError(t, err)
		if id[0] != 0xEB || id[1] != 0xAA {
			wrong++
		}
	}
	assert.Equal(t, 10, wrong)
}

// A brown-out shows by nothing but the registers: the chip has booted again long before anybody asks.
func TestBrownoutForgetsTheRegisters(t *testing.T) {
	t.Parallel()
	w, clock := buildClock(t, fault("brownout", 0), 0)
	reg := make([]byte, 1)
	require.NoError(t, w.Buses[1].Tx(0x29, []byte{0, 0x2E, 1}, nil))
	require.NoError(t, w.Buses[1].Tx(0x29, []byte{0, 0x2E}, reg))
	require.Equal(t, byte(1), reg[0])
	sleep(t, clock, 3*time.Hour)
	require.NoError(t, w.Buses[1].Tx(0x29, []byte{0, 0x2E}, reg))
	assert.Equal(t, byte(0), reg[0])
}

// start has the chip range as its reset registers have it, and reports whether a range gets ready within a second.
func ready(t *testing.T, w *scenario.World, clock *sim.Clock) bool {
	t.Helper()
	require.NoError(t, w.Buses[1].Tx(0x29, []byte{0, 0x86, 1}, nil))
	require.NoError(t, w.Buses[1].Tx(0x29, []byte{0, 0x87, 0x21}, nil))
	sleep(t, clock, time.Second)
	line := make([]byte, 1)
	require.NoError(t, w.Buses[1].Tx(0x29, []byte{0, 0x31}, line))
	return line[0]&1 == 0 // active low after reset
}

func TestFaultsOfTheChip(t *testing.T) {
	t.Parallel()
	w, clock := buildClock(t, fault("never_ready", tenMinutes), 0)
	assert.True(t, ready(t, w, clock))
	sleep(t, clock, 2*time.Hour)
	assert.False(t, ready(t, w, clock))
	sleep(t, clock, tenMinutes)
	assert.True(t, ready(t, w, clock))

	w, clock = buildClock(t, fault("repeats", tenMinutes), 0)
	count := func() byte {
		require.True(t, ready(t, w, clock))
		b := make([]byte, 17)
		require.NoError(t, w.Buses[1].Tx(0x29, []byte{0, 0x89}, b))
		return b[14]
	}
	before := count()
	sleep(t, clock, 2*time.Hour)
	assert.Equal(t, before, count(), "the old range, though the dough has risen")
	sleep(t, clock, tenMinutes)
	assert.NotEqual(t, before, count())
}

func TestFaultsOfTheProbes(t *testing.T) {
	t.Parallel()
	for _, kind := range scenario.Kinds() {
		if len(kind) < 6 || kind[:6] != "probe_" {
			continue
		}
		w, clock := buildClock(t, fault(kind, tenMinutes), 0)
		p, err := ds18b20.New(w.Probes, clock, nil).Probe(w.Stations[0].JarProbe)
		require.NoError(t, err)
		for i, wait := range []time.Duration{time.Hour, time.Hour + 5*time.Minute, tenMinutes} {
			sleep(t, clock, wait)
			_, err := p.Temperature(t.Context())
			assert.Equal(t, i == 1, err != nil, "%s, %d: %v", kind, i, err)
		}
	}
}

func TestEveryKindIsTested(t *testing.T) {
	t.Parallel()
	tested := []string{"away", "blind", "blister", "brownout", "bump", "fog", "hand", "held", "lid", "light", "nack", "never_ready",
		"noise", "probe_floating", "probe_noise", "probe_power_on", "probe_shorted", "probe_silent", "probe_starved",
		"probe_unplugged", "repeats", "unplugged", "walls"}
	assert.Equal(t, tested, scenario.Kinds())
}

// TestTheKitchenExplainsEveryKind: the built-in scenario is what people begin their own from.
func TestTheKitchenExplainsEveryKind(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("kitchen.toml")
	require.NoError(t, err)
	for _, word := range append(scenario.Kinds(), scenario.Chips()...) {
		assert.Regexp(t, `(?m)^#.*\b`+word+`\b`, string(text))
	}
}

// TestTheSameScenarioIsTheSameNight: to the last bit of noise.
func TestTheSameScenarioIsTheSameNight(t *testing.T) {
	t.Parallel()
	var nights [2][]rise.Burst
	for i := range nights {
		w, clock := buildClock(t, scenario.Default(), 0)
		d, err := open(w, w.Stations[0], clock)
		require.NoError(t, err)
		for range 30 {
			b, err := d.Range(t.Context(), 20)
			require.NoError(t, err)
			nights[i] = append(nights[i], b)
			sleep(t, clock, 20*time.Minute)
		}
	}
	assert.Equal(t, nights[0], nights[1])
	assert.NotEqual(t, nights[0][0], nights[0][1])
}

func TestStationsShareARoomProbe(t *testing.T) {
	t.Parallel()
	s := plain()
	second := s.Setups[0]
	second.Name, second.Bus, second.JarProbe, second.DoughProbe = "starter", 3, "28-3c01f0967d44", ""
	s.Setups = append(s.Setups, second)
	w := build(t, s, 0)
	assert.Equal(t, []int{1, 3}, w.BusNumbers())
	names, err := fs.Glob(w.Probes, "28-*")
	require.NoError(t, err)
	assert.Len(t, names, 4)
	assert.Same(t, w.Stations[1], w.Station("starter"))
	assert.Nil(t, w.Station("nobody"))
	assert.Equal(t, "tumbler", w.Stations[1].KnownJar().Name)
}
