package sim_test

import (
	"maps"
	"testing"
	"time"

	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestVL53L0XAnswersAsRecorded plays the traffic of three independent drivers at the simulated chip: identity, memory and
// what the driver itself wrote must read as recorded, and ready must come. Results are not compared: those of the recordings
// are invented.
func TestVL53L0XAnswersAsRecorded(t *testing.T) {
	t.Parallel()
	identity := map[byte]bool{0xC0: true, 0xC1: true}
	// Read back once they were written; what the recordings have before that is assumed.
	settings := map[byte]bool{0x01: true, 0x50: true, 0x46: true, 0x51: true, 0x70: true, 0x71: true, 0xB0: true}
	real17 := map[byte]bool{0x91: true, 0x92: true}
	for _, name := range []string{"vl53l0x.pololu.json", "vl53l0x.stapi.json", "vl53l0x.adafruit_stapi.json"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			clock := sim.NewClock(dusk, time.Minute)
			bus := sim.NewBus("I2C1", sim.NewVL53L0X(clock, sim.Card(123), sim.ChipOpts{}))
			real0 := maps.Clone(identity)
			page, selector, checked := byte(0), byte(0), 0
			for i, op := range sensortest.LoadTrace(t, name).Ops {
				if len(op.W) == 0 {
					continue
				}
				r := make([]byte, len(op.R))
				require.NoError(t, bus.Tx(0x29, op.W, r), "op %d", i)
				reg := op.W[0]
				switch {
				case len(r) == 0 && reg == 0xFF:
					page = op.W[1]
				case len(r) == 0 && reg == 0x94:
					selector = op.W[1]
				case len(r) == 0 && page == 0 && settings[reg]:
					real0[reg] = true
				case len(r) == 0:
				case page == 0 && reg == 0x13 && op.R[0] != 0, page == 7 && reg == 0x83 && op.R[0] != 0:
					for n := 0; r[0] == 0 && n < 3; n++ { // given the time that it takes
						require.NoError(t, clock.Sleep(t.Context(), 300*time.Millisecond))
						require.NoError(t, bus.Tx(0x29, op.W, r), "op %d", i)
					}
					assert.NotZero(t, r[0], "op %d", i)
					checked++
				case page == 0 && real0[reg], page != 0 && real17[reg] && (page == 1 || selector == 0x6B):
					assert.Equal(t, []byte(op.R), r, "op %d reads %d:%02x", i, page, reg)
					checked++
				}
			}
			assert.Greater(t, checked, 10)
		})
	}
}

func TestVL53L0XForgetsOverAReset(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	chip := sim.NewVL53L0X(clock, sim.Card(123), sim.ChipOpts{})
	bus := sim.NewBus("I2C1", chip)
	word := func(addr uint16) []byte {
		r := make([]byte, 2)
		require.NoError(t, bus.Tx(addr, []byte{0x51}, r))
		return r
	}
	// Data sheet DS11555, reference registers: 0x51 reads 0099 fresh from reset.
	assert.Equal(t, []byte{0, 0x99}, word(0x29))
	require.NoError(t, bus.Tx(0x29, []byte{0x51, 0, 0x96}, nil))
	require.NoError(t, bus.Tx(0x29, []byte{0x8A, 0x30}, nil))
	assert.Equal(t, []byte{0, 0x96}, word(0x30))
	chip.Brownout()
	require.ErrorIs(t, bus.Tx(0x29, []byte{0x51}, make([]byte, 2)), sim.ErrNACK)
	require.NoError(t, clock.Sleep(t.Context(), 2*time.Millisecond))
	assert.Equal(t, []byte{0, 0x99}, word(0x29))
	require.NoError(t, bus.Tx(0x29, []byte{0xFF, 1}, nil))
	r := make([]byte, 1)
	require.NoError(t, bus.Tx(0x29, []byte{0x91}, r))
	assert.Equal(t, byte(0x3C), r[0], "another page")
}
