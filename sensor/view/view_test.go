package view_test

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"testing"

	"nightjar/sensor/view"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSpots: 2 d tan(angle/2), worked out by hand to the millimetre.
func TestSpots(t *testing.T) {
	t.Parallel()
	for chip, want := range map[string][7]float64{ // spots at 20, 50, 100, 150 mm; depths for 50, 70, 90 mm
		"vl53l4cd": {8, 19, 39, 58, 129, 180, 232},
		"vl53l1x":  {10, 24, 48, 72, 104, 146, 187},
		"vl53l0x":  {9, 22, 44, 67, 113, 158, 203},
		"vl6180x":  {9, 22, 44, 67, 113, 158, 203},
	} {
		v, ok := view.Of(chip)
		require.True(t, ok)
		for i, d := range []float64{20, 50, 100, 150} {
			assert.InDelta(t, want[i], v.SpotMM(d), 0.5, "%s at %v", chip, d)
		}
		for i, d := range []float64{50, 70, 90} {
			assert.InDelta(t, want[4+i], v.DepthMM(d), 0.5, "%s, %v wide", chip, d)
			assert.InDelta(t, d, v.SpotMM(v.DepthMM(d)), 1e-9)
		}
	}
	_, ok := view.Of("hcsr04")
	assert.False(t, ok)
}

// TestThePageSaysTheSame: the tables for those who buy and mount a sensor are made of the same numbers.
func TestThePageSaysTheSame(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../deploy/sensors.md")
	require.NoError(t, err)
	defer func() { assert.NoError(t, f.Close()) }()
	rows := map[string]bool{}
	for s := bufio.NewScanner(f); s.Scan(); {
		rows[strings.ReplaceAll(s.Text(), "*", "")] = true
	}
	for _, chip := range view.Chips() {
		v, _ := view.Of(chip)
		row := fmt.Sprintf("| %s | %.0f° | %.0f | %.0f | %.0f | %.0f | %.0f | %.0f | %.0f |", strings.ToUpper(chip), v.Degrees,
			v.SpotMM(20), v.SpotMM(50), v.SpotMM(100), v.SpotMM(150), v.DepthMM(50), v.DepthMM(70), v.DepthMM(90))
		assert.True(t, rows[row], "missing: %s", row)
		reach := fmt.Sprintf("| %s | %.0f mm | %.0f mm |", strings.ToUpper(chip), v.NearestMM, v.FarthestMM)
		found := false
		for r := range rows {
			found = found || strings.HasPrefix(r, reach)
		}
		assert.True(t, found, "missing: %s", reach)
	}
}

func TestDoubts(t *testing.T) {
	t.Parallel()
	best, _ := view.Of("vl53l4cd")
	assert.Empty(t, best.Doubts(152, 62, 90))
	assert.Empty(t, best.Doubts(0, 0, 0), "nothing is known")
	assert.Len(t, best.Doubts(500, 300, 0), 1)
	wide, _ := view.Of("vl53l0x")
	got := wide.Doubts(150, 60, 110)
	require.Len(t, got, 2)
	assert.Equal(t, "at the jar's floor, 150 mm away, the vl53l0x looks at a spot 67 mm wide, the jar is 60 mm wide: it sees the walls; "+
		"put it at most 135 mm above the floor, or calibrate in this very jar at known heights", got[0])
	assert.Equal(t, "at a level of 110 mm the dough is 40 mm from the vl53l0x, which needs 50 mm: mount it 10 mm higher or take less dough", got[1])
}

func Example() {
	v, _ := view.Of("vl6180x")
	fmt.Printf("%.0f mm\n", v.SpotMM(100))
	for _, d := range v.Doubts(80, 70, 60) {
		fmt.Println(d)
	}
	fmt.Println(len(v.Doubts(80, 70, 75)))
	// Output:
	// 44 mm
	// 1
}
