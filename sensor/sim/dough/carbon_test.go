package dough_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// table reads a CSV file of published values as numbers, without its header.
func table(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("../../../testdata/reference/" + name)
	require.NoError(t, err)
	defer func() { assert.NoError(t, f.Close()) }()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out [][]float64
	for _, row := range rows[1:] {
		nums := make([]float64, len(row))
		for i, s := range row {
			nums[i], err = strconv.ParseFloat(s, 64)
			require.NoError(t, err)
		}
		out = append(out, nums)
	}
	require.NotEmpty(t, out)
	return out
}

// CRC Handbook of Chemistry and Physics, solubility of carbon dioxide in water at 100 kPa (about 2 % accurate). The law
// comes from another source, whose constants scatter by 3 %.
func TestSolubilityMeetsTheHandbook(t *testing.T) {
	for _, row := range table(t, "co2_solubility_water.csv") {
		assert.InEpsilon(t, row[2], dough.Solubility(row[0], 100e3), 0.05, "%v °C", row[0])
	}
}

// A dough of 0.85 l/kg with 0.42 kg water/kg swallows 0.36 l/kg at 25 °C: about 40 % of its own volume.
func TestDoughSwallowsFourTenthsOfItsVolume(t *testing.T) {
	litres := 0.42 * dough.Solubility(25, 100e3) * 24.79
	assert.InDelta(t, 0.36, litres, 0.02)
	assert.InDelta(t, 0.4, litres/0.85, 0.03)
}
