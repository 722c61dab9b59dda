package scenario_test

import (
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/sim"
	"nightjar/sensor/sim/scenario"
	"nightjar/sensor/vl53l0x"
	"nightjar/sensor/vl53l1x"
	"nightjar/sensor/vl53l4cd"
	"nightjar/sensor/vl6180x"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// open finds a station's ranger with its real driver.
func open(w *scenario.World, st *scenario.Station, clock *sim.Clock) (sensor.Ranger, error) {
	bus, err := w.Open(st)
	if err != nil {
		return nil, err
	}
	var xshut gpio.PinOut // only wired where it has to be
	if st.Address != 0x29 {
		xshut = st.XSHUT
	}
	switch st.Chip {
	case "vl53l0x":
		return made(vl53l0x.New(bus, st.Address, &vl53l0x.Opts{Clock: clock, XSHUT: xshut}))
	case "vl53l1x":
		return made(vl53l1x.New(bus, st.Address, &vl53l1x.Opts{Clock: clock, XSHUT: xshut}))
	case "vl6180x":
		return made(vl6180x.New(bus, st.Address, &vl6180x.Opts{Clock: clock, XSHUT: xshut}))
	}
	return made(vl53l4cd.New(bus, st.Address, &vl53l4cd.Opts{Clock: clock, XSHUT: xshut}))
}

// made keeps a driver that could not be made from becoming an interface that is not nil.
func made[D sensor.Ranger](d D, err error) (sensor.Ranger, error) {
	if err != nil {
		return nil, err
	}
	return d, nil
}

// TestRealDriversSeeTheDoughRise: behind a multiplexer and without one.
func TestRealDriversSeeTheDoughRise(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		chip  string
		mux   uint16
		floor float64
	}{{"vl53l4cd", 0, 152}, {"vl53l4cd", 0x70, 152}, {"vl53l1x", 0, 152}, {"vl53l0x", 0x70, 152}, {"vl6180x", 0, 110}} {
		s := plain()
		s.Setups[0].Chip, s.Setups[0].Mux, s.Setups[0].Channel, s.Setups[0].Jar.FloorMM = c.chip, c.mux, 3, c.floor
		w, clock := buildClock(t, s, 0)
		st := w.Stations[0]
		d, err := open(w, st, clock)
		require.NoError(t, err)
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
