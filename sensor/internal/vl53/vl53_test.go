package vl53

import (
	"testing"

	"nightjar/rise"
	"nightjar/sensor/internal/tof"
	"nightjar/sensor/sensortest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCrosstalkIsSTs: ST's driver, told at 150 mm that it is 123 mm, with 5120 thousand counts over 48 receivers, wrote
// 2666 (recorded traffic of stm32duino/VL53L4CD b6ed0e2). Its value returned, 127, is cut to 16 bits and is not followed.
func TestCrosstalkIsSTs(t *testing.T) {
	t.Parallel()
	writes := sensortest.Writes(sensortest.LoadTrace(t, "vl53l4cd.stuld.calibration.json").Phase(t, "calibrate_xtalk_150mm_5samples"), 2)
	want := uint16(0x2666)
	require.Equal(t, []string{"001626", "001766"}, writes[len(writes)-2:])
	s := tof.Sums{N: 5, MM: 5 * 123, Mcps: 5 * 5.120, SPADs: 5 * 48}
	assert.Equal(t, want, shortfall(s, 150))
	assert.Zero(t, shortfall(s, 100), "a range that is too long has no crosstalk")
	assert.Equal(t, uint16(0xFFFF), shortfall(tof.Sums{N: 1, Mcps: 1e6, SPADs: 1}, 100))
}

func TestSampleRefusesWhatIsNoRange(t *testing.T) {
	t.Parallel()
	good := Result{Raw: 9, SPADs: 20, RangeMM: 120}
	assert.Equal(t, rise.StatusGood, good.Sample().Status)
	for _, mm := range []uint16{8190, 8191, 65535} {
		r := good
		r.RangeMM = mm
		assert.Equal(t, rise.StatusOther, r.Sample().Status, mm)
	}
	r := good
	r.SPADs = 0
	assert.Equal(t, rise.StatusOther, r.Sample().Status)
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x69, 0, 5, 0x30, 0, 2, 0x80, 0, 0x10, 0, 8, 1, 0x40, 0, 0x7B})
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := Decode(b)
		if len(b) < BlockLen {
			require.ErrorIs(t, err, ErrShort)
			return
		}
		require.NoError(t, err)
		s := r.Sample()
		assert.Less(t, s.Status, rise.Status(rise.StatusCount))
		if s.Status == rise.StatusGood {
			assert.Equal(t, byte(9), b[0]&0x1F)
			assert.Less(t, s.RangeMM, float64(noRange))
			assert.Positive(t, r.SPADs)
		}
		for _, n := range []rise.Num{s.SignalMcps, s.AmbientMcps, s.SigmaMM} {
			assert.True(t, n.IsKnown())
			assert.GreaterOrEqual(t, n.Or(-1), 0.0)
		}
	})
}
