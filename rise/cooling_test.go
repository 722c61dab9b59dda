package rise_test

import (
	"math"
	"testing"

	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Hours at 24 °C still to come in a refrigerator of 4 °C, computed by Simpson's rule for three laws of growth.
func TestEquivalentHoursOfCooling(t *testing.T) {
	laws := map[string]func(float64) float64{
		"ctmi_2.8_32.3_45.4": rise.Cardinal{MinC: 2.8, OptC: 32.3, MaxC: 45.4}.Rate,
		"ctmi_8_27_35.9":     rise.Cardinal{MinC: 8, OptC: 27, MaxC: 35.9}.Rate,
		"q10_2.5":            func(c float64) float64 { return math.Pow(2.5, (c-24)/10) },
	}
	for _, row := range published(t, "cooling_equivalent_hours.csv") {
		law := laws[row[3]]
		require.NotNil(t, law, row[3])
		from, air, tau := number(t, row[0]), number(t, row[1]), number(t, row[2])
		for i, hours := range []float64{12, 24} {
			got, end := rise.Stage{Hours: hours, AirC: air, TauH: tau}.Equivalent(from, law)
			assert.InDelta(t, number(t, row[4+i]), got/law(from), 0.002, "%s τ %v", row[3], tau)
			assert.InDelta(t, air, end, 1.5)
		}
	}
}

// body is dough of uniform material cooled from its surface, by finite differences: a ball of radius size or a layer of
// half thickness size, m.
type body struct {
	size, air float64
	ball      bool
}

const (
	conducts = 0.40   // W/m/K
	stores   = 2700.0 // J/kg/K
)

// equivalent is the volume's mean rise-equivalent at the starting temperature over hours, h.
func (b body) equivalent(density, from, to, hours float64, rate func(float64) float64) float64 {
	const n = 40
	dx := b.size / n
	var temp, weight [n]float64
	total := 0.0
	face := func(i int) float64 { // area of the face below cell i, per steradian or m²
		if b.ball {
			return math.Pow(float64(i)*dx, 2)
		}
		return 1
	}
	for i := range temp {
		temp[i] = from
		weight[i] = dx
		if b.ball {
			weight[i] = (math.Pow(float64(i+1)*dx, 3) - math.Pow(float64(i)*dx, 3)) / 3
		}
		total += weight[i]
	}
	dt := 0.4 * dx * dx * density * stores / conducts / 2
	sum := 0.0
	for s := 0.0; s < hours*3600; s += dt {
		for i := range temp {
			sum += rate(temp[i]) * weight[i] / total * dt
		}
		var flow [n + 1]float64 // outwards
		for i := 1; i < n; i++ {
			flow[i] = conducts * face(i) * (temp[i-1] - temp[i]) / dx
		}
		flow[n] = face(n) * (temp[n-1] - to) / (1/b.air + dx/2/conducts)
		for i := range temp {
			temp[i] += (flow[i] - flow[i+1]) * dt / (density * stores * weight[i])
		}
	}
	return sum / 3600 / rate(from)
}

// The further rise of a lump with the inner resistance counted is within 3 % of a finite-difference ball and layer.
// A plain lump is far off.
func TestFurtherRiseMeetsFiniteDifferences(t *testing.T) {
	rate := rise.SourdoughYeast().Rate
	for _, kg := range []float64{0.5, 0.9, 1.8, 3} {
		for _, air := range []float64{8, 15} {
			p := rise.Piece{DoughKg: kg, AirW: air, Multiple: 1.5}
			volume := kg * 0.85e-3 * 1.5
			ball := body{size: math.Cbrt(3 * volume / (4 * math.Pi)), air: air, ball: true}
			want := ball.equivalent(kg/volume, 25, 4, 16, rate)
			compare(t, p, want, rate)
			tau, err := p.TauH()
			require.NoError(t, err)
			plain := tau / (1 + air*ball.size/5/conducts)
			got, _ := rise.Stage{Hours: 16, AirC: 4, TauH: plain}.Equivalent(25, rate)
			assert.Less(t, got/rate(25)/want, 0.9, "a plain lump is more than a tenth off")
		}
	}
	for _, mm := range []float64{40, 80, 120} {
		p := rise.Piece{DoughKg: 1, Form: rise.FormLayer, ThickMM: mm, Multiple: 1.5}
		layer := body{size: mm / 2000, air: 8}
		compare(t, p, layer.equivalent(1/(0.85e-3*1.5), 25, 4, 16, rate), rate)
	}
}

func compare(t *testing.T, p rise.Piece, want float64, rate func(float64) float64) {
	t.Helper()
	tau, err := p.TauH()
	require.NoError(t, err)
	got, _ := rise.Stage{Hours: 16, AirC: 4, TauH: tau}.Equivalent(25, rate)
	assert.InEpsilon(t, want, got/rate(25), 0.03, "%+v τ %.2f", p, tau)
}

// 0.9 kg of dough in a 0.6 kg bowl of 600 cm² in still air: τ = m·c/(h·S) about 1.7 h without the inner resistance. Covers
// double it.
func TestTimeConstants(t *testing.T) {
	bare := (0.9*2700 + 0.6*850) / (8 * 0.06) / 3600
	assert.InDelta(t, 1.7, bare, 0.05)
	p := rise.Piece{DoughKg: 0.9, VesselKg: 0.6}
	open, err := p.TauH()
	require.NoError(t, err)
	assert.InDelta(t, 2.4, open, 0.6, "a ball of 0.9 kg has 530 cm², and its inside resists")
	p.Covered = true
	covered, err := p.TauH()
	require.NoError(t, err)
	assert.Greater(t, covered/open, 1.5)
	roll, err := rise.Piece{DoughKg: 0.9, Form: rise.FormRoll, ThickMM: 110}.TauH()
	require.NoError(t, err)
	layer, err := rise.Piece{DoughKg: 0.9, Form: rise.FormLayer, ThickMM: 30}.TauH()
	require.NoError(t, err)
	assert.Less(t, layer, roll)
}

// A home baker's series of 1.5 kg in two baskets in air of 4 °C (forum post, a single run): τ of 2.3-4.6 h by its points.
func TestTimeConstantFromAWatchedCooling(t *testing.T) {
	var hours, temps []float64
	for _, row := range published(t, "dough_cooling_example.csv") {
		hours, temps = append(hours, number(t, row[0])), append(temps, number(t, row[1]))
	}
	tau, err := rise.CoolingTau(hours[:4], temps[:4], 4)
	require.NoError(t, err)
	assert.Greater(t, tau, 2.3)
	assert.Less(t, tau, 4.6)
	_, err = rise.CoolingTau([]float64{0, 1, 2}, []float64{20, 21, 22}, 4)
	assert.ErrorIs(t, err, rise.ErrNoCooling)
	_, err = rise.CoolingTau(nil, nil, 4)
	assert.ErrorIs(t, err, rise.ErrNoCooling)
	exact, err := rise.CoolingTau([]float64{0, 1, 2}, []float64{24, 4 + 20*math.Exp(-0.5), 4 + 20*math.Exp(-1)}, 4)
	require.NoError(t, err)
	assert.InDelta(t, 2, exact, 1e-9)
}

func TestFurtherHoursAddUpOverStages(t *testing.T) {
	steady := rise.FurtherHours(25, []rise.Stage{{Hours: 2, AirC: 25, TauH: 3}})
	assert.InDelta(t, 2, steady, 1e-9)
	both := rise.FurtherHours(25, []rise.Stage{{Hours: 2, AirC: 25, TauH: 3}, {Hours: 16, AirC: 4, TauH: 3}})
	cold := rise.FurtherHours(25, []rise.Stage{{Hours: 16, AirC: 4, TauH: 3}})
	assert.InDelta(t, steady+cold, both, 1e-9)
	warm := rise.FurtherHours(5, []rise.Stage{{Hours: 3, AirC: 25, TauH: 2}})
	assert.Greater(t, warm, 0.5)
	assert.Less(t, warm, 3.0)
}

func TestPiecesThatCannotBe(t *testing.T) {
	for want, p := range map[string]rise.Piece{
		"0 kg of dough":       {},
		"was 0.9 kg meant?":   {DoughKg: 900},
		"vessel of -1 kg":     {DoughKg: 1, VesselKg: -1},
		"is unknown":          {DoughKg: 1, Form: "cube"},
		"needs its thickness": {DoughKg: 1, Form: rise.FormLayer},
		"×0.5 cannot be":      {DoughKg: 1, Multiple: 0.5},
		"cannot be air":       {DoughKg: 1, AirW: 1e4},
	} {
		_, err := p.TauH()
		assert.ErrorContains(t, err, want)
	}
}
