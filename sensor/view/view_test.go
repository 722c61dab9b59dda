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
		v := view.Of(chip)
		assert.Equal(t, chip, v.Chip)
		for i, d := range []float64{20, 50, 100, 150} {
			assert.InDelta(t, want[i], v.SpotMM(d), 0.5, "%s at %v", chip, d)
		}
		for i, d := range []float64{50, 70, 90} {
			assert.InDelta(t, want[4+i], v.WallDepthMM(d), 0.5, "%s, %v wide", chip, d)
			assert.InDelta(t, d, v.SpotMM(v.WallDepthMM(d)), 1e-9)
		}
	}
	assert.Equal(t, "vl53l4cd", view.Of("auto").Chip)
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
		v := view.Of(chip)
		row := fmt.Sprintf("| %s | %.0f° | %.0f | %.0f | %.0f | %.0f | %.0f | %.0f | %.0f |", strings.ToUpper(chip), v.ConeDeg,
			v.SpotMM(20), v.SpotMM(50), v.SpotMM(100), v.SpotMM(150), v.WallDepthMM(50), v.WallDepthMM(70), v.WallDepthMM(90))
		assert.True(t, rows[row], "missing: %s", row)
		reach := fmt.Sprintf("| %s | %.0f mm | %.0f mm |", strings.ToUpper(chip), v.NearestMM, v.FarthestMM)
		found := false
		for r := range rows {
			found = found || strings.HasPrefix(r, reach)
		}
		assert.True(t, found, "missing: %s", reach)
	}
}

func Example() {
	v := view.Of("vl6180x")
	fmt.Printf("%.0f mm wide at 100 mm; meets the wall of a 70 mm jar at %.0f mm\n", v.SpotMM(100), v.WallDepthMM(70))
	// Output: 44 mm wide at 100 mm; meets the wall of a 70 mm jar at 158 mm
}
