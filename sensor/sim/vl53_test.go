package sim_test

import (
	"strings"
	"testing"
	"time"

	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

var dusk = time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC)

// TestVL53AnswersAsRecorded plays the traffic of three independent drivers at the simulated chips: every identity, every
// read-back and every ready sequence must be as recorded. Results are not compared, since those of the recordings are invented.
func TestVL53AnswersAsRecorded(t *testing.T) {
	t.Parallel()
	for _, name := range []string{
		"vl53l4cd.stuld.continuous.json", "vl53l4cd.stuld.autonomous.json", "vl53l4cd.stuld.extras.json",
		"vl53l4cd.pololu.continuous.json", "vl53l4cd.pololu.autonomous.json",
		"vl53l1x.stuld.json", "vl53l1x.stuld.extras.json", "vl53l1x.pololu.json", "vl53l1x.tinygo.json",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			trace := sensortest.LoadTrace(t, name)
			clock := sim.NewClock(dusk, time.Minute)
			chip := sim.NewVL53L1X(clock, sim.Card(123), sim.ChipOpts{})
			if trace.Chip == "VL53L4CD" {
				chip = sim.NewVL53L4CD(clock, sim.Card(123), sim.ChipOpts{})
			}
			bus := sim.NewBus("I2C1", chip)
			if strings.Contains(name, "extras") { // made after an initialisation that was not recorded
				wire := byte(0x11)
				if trace.Chip == "VL53L1X" {
					wire = 0x01
				}
				require.NoError(t, bus.Tx(0x29, []byte{0, 0x30, wire}, nil))
			}
			checked := 0
			for i, op := range trace.Ops {
				if len(op.W) == 0 {
					continue
				}
				checked += replay(t, clock, bus, i, op)
			}
			assert.Positive(t, checked)
		})
	}
}

// replay plays one transfer. A read of the line that was recorded as ready is given the time that it took.
func replay(t *testing.T, clock *sim.Clock, bus *sim.Bus, i int, op sensortest.Op) (checked int) {
	t.Helper()
	r := make([]byte, len(op.R))
	require.NoError(t, bus.Tx(0x29, op.W, r), "op %d", i)
	if len(op.R) == 0 {
		require.NoError(t, clock.Sleep(t.Context(), 2*time.Millisecond)) // a chip that was reset boots
		return 0
	}
	reg := int(op.W[0])<<8 | int(op.W[1])
	if reg == 0x31 && r[0] != op.R[0] {
		require.NoError(t, clock.Sleep(t.Context(), time.Second))
		require.NoError(t, bus.Tx(0x29, op.W, r))
	}
	if !comparable[reg] {
		return 0
	}
	assert.Equal(t, []byte(op.R), r, "op %d reads 0x%04x", i, reg)
	return 1
}

// comparable lists the registers whose recorded value is real: identity, boot state, what the driver itself wrote, the
// line, the factory's values. Results, and assumed reset values of configuration, are not.
var comparable = map[int]bool{0x010F: true, 0x00E5: true, 0x0006: true, 0x00DE: true, 0x0030: true, 0x0031: true, 0x006C: true,
	0x001E: true, 0x0022: true, 0x013E: true, 0x0008: true, 0x000B: true, 0x004B: true}

func vl53(t *testing.T, scene sim.Scene, opts sim.ChipOpts) (*sim.Clock, *sim.Bus, *sim.VL53) {
	t.Helper()
	clock := sim.NewClock(dusk, time.Minute)
	chip := sim.NewVL53L4CD(clock, scene, opts)
	return clock, sim.NewBus("I2C1", chip), chip
}

func TestVL53BootsAtItsDefaultAddress(t *testing.T) {
	t.Parallel()
	clock, bus, chip := vl53(t, sim.Card(100), sim.ChipOpts{})
	require.NoError(t, bus.Tx(0x29, []byte{0, 1, 0x30}, nil))
	require.ErrorIs(t, bus.Tx(0x29, []byte{0, 0}, nil), sim.ErrNACK)
	require.NoError(t, bus.Tx(0x30, []byte{0, 0x64, 1}, nil))
	chip.Brownout()
	require.ErrorIs(t, bus.Tx(0x29, []byte{0, 0x64}, make([]byte, 1)), sim.ErrNACK, "it boots")
	require.NoError(t, clock.Sleep(t.Context(), 1200*time.Microsecond))
	r := []byte{9}
	require.NoError(t, bus.Tx(0x29, []byte{0, 0x64}, r))
	assert.Zero(t, r[0], "it forgot its settings")

	pin := chip.XSHUT()
	require.NoError(t, pin.Out(gpio.Low))
	require.NoError(t, clock.Sleep(t.Context(), time.Second))
	require.ErrorIs(t, bus.Tx(0x29, []byte{0, 0x64}, r), sim.ErrNACK, "held in reset")
	require.NoError(t, pin.Out(gpio.High))
	require.NoError(t, clock.Sleep(t.Context(), 2*time.Millisecond))
	require.NoError(t, bus.Tx(0x29, []byte{0, 0x64}, r))
}

// TestVL53HoldsUntilCleared: ranging is on hold while the interrupt stands (VL53L4CD DS13812).
func TestVL53HoldsUntilCleared(t *testing.T) {
	t.Parallel()
	distance := 100.0
	scene := sim.Moving{View: func(time.Duration) sim.Target { return sim.Target{DistanceMM: distance, Reflect: 1} }}
	clock, bus, chip := vl53(t, scene, sim.ChipOpts{Quiet: true})
	trace := sensortest.LoadTrace(t, "vl53l4cd.pololu.continuous.json")
	for _, op := range trace.Phase(t, "init") {
		require.NoError(t, bus.Tx(0x29, op.W, make([]byte, len(op.R))))
	}
	require.NoError(t, bus.Tx(0x29, []byte{0, 0x87, 0x21}, nil))
	ready := func() bool { return chip.Interrupt().Read() == gpio.Low }
	millis := func(n int) { require.NoError(t, clock.Sleep(t.Context(), time.Duration(n)*time.Millisecond)) }
	millis(49)
	require.False(t, ready(), "the budget is 50 ms")
	millis(2)
	require.True(t, ready())
	distance = 150
	millis(500)
	assert.Equal(t, byte(100), chip.Register(0x97), "old result")
	require.NoError(t, bus.Tx(0x29, []byte{0, 0x86, 1}, nil))
	require.False(t, ready())
	millis(51)
	require.True(t, ready())
	assert.Equal(t, byte(150), chip.Register(0x97))
	assert.Equal(t, byte(1), chip.Register(0x8B), "second result")
}
