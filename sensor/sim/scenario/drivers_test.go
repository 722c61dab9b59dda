package scenario_test

import (
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/mux"
	"nightjar/sensor/sim"
	"nightjar/sensor/sim/scenario"
	"nightjar/sensor/vl53l0x"
	"nightjar/sensor/vl53l4cd"
	"nightjar/sensor/vl6180x"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
)

// drive finds a station's ranger with its real driver.
func drive(t *testing.T, w *scenario.World, st *scenario.Station, clock *sim.Clock) sensor.Ranger {
	t.Helper()
	var bus i2c.Bus = w.Buses[st.Bus]
	if st.Mux != 0 {
		m, err := mux.New(bus, st.Mux)
		require.NoError(t, err)
		bus, err = m.Channel(st.Channel)
		require.NoError(t, err)
	}
	var d sensor.Ranger
	var err error
	switch st.Chip {
	case "vl53l0x":
		d, err = vl53l0x.New(bus, st.Address, &vl53l0x.Opts{Clock: clock})
	case "vl6180x":
		d, err = vl6180x.New(bus, st.Address, &vl6180x.Opts{Clock: clock})
	default:
		d, err = vl53l4cd.New(bus, st.Address, &vl53l4cd.Opts{Clock: clock})
	}
	require.NoError(t, err)
	return d
}

// TestRealDriversSeeTheDoughRise: behind a multiplexer and without one.
func TestRealDriversSeeTheDoughRise(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		chip  string
		mux   uint16
		floor float64
	}{{"vl53l4cd", 0, 152}, {"vl53l4cd", 0x70, 152}, {"vl53l0x", 0x70, 152}, {"vl6180x", 0, 110}} {
		s := plain()
		s.Setups[0].Chip, s.Setups[0].Mux, s.Setups[0].Channel, s.Setups[0].Jar.FloorMM = c.chip, c.mux, 3, c.floor
		w, clock := buildClock(t, s, 0)
		st := w.Stations[0]
		d := drive(t, w, st, clock)
		for range 5 {
			b, err := d.Range(t.Context(), 20)
			require.NoError(t, err, c.chip)
			want := c.floor - st.True(w.Elapsed()).SurfaceMM
			// Its drift with a kitchen that cools by 5 °C is in: 0.1 mm/°C.
			assert.InDelta(t, want, b.RangeMM.Or(0), 2, "%s at %v", c.chip, w.Elapsed())
			sleep(t, clock, 3*time.Hour)
		}
	}
}
