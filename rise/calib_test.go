package rise

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestLineReproducesTheGuidesThermometer fits the calibration line of JCGM 100:2008, H.3: the corrections b of a
// thermometer against t − 20 °C, with s from the residuals.
func TestLineReproducesTheGuidesThermometer(t *testing.T) {
	f, err := os.Open("../testdata/reference/gum_h3_thermometer.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	var x, y, w []float64
	for _, row := range rows[1:] {
		temp, err1 := strconv.ParseFloat(row[0], 64)
		b, err2 := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err1)
		require.NoError(t, err2)
		x, y, w = append(x, temp-20), append(y, b), append(w, 1)
	}
	l, ok := fitLine(x, y, w)
	require.True(t, ok)
	s := math.Sqrt(l.chi2 / float64(l.dof))
	assert.Equal(t, 9, l.dof)
	assert.InDelta(t, 0.0035, s, 5e-5)
	assert.InDelta(t, -0.1712, l.value(0), 5e-5)
	assert.InDelta(t, 0.0029, s*math.Hypot(l.uAt, l.pivot*l.uSlope), 5e-5)
	assert.InDelta(t, 0.00218, l.slope, 5e-6)
	assert.InDelta(t, 0.00067, s*l.uSlope, 5e-6)
	assert.InDelta(t, -0.1494, l.value(10), 5e-5)
	assert.InDelta(t, 0.0041, s*math.Hypot(l.uAt, (10-l.pivot)*l.uSlope), 5e-5)
}

func heights(scale, floor float64, levels ...float64) []Height {
	var out []Height
	for _, l := range levels {
		out = append(out, Height{LevelMM: l, ULevelMM: 0.3, RangeMM: floor - l/scale, URangeMM: 0.1})
	}
	return out
}

func TestFitHeightsFindsFloorAndScale(t *testing.T) {
	f, err := FitHeights(heights(1.04, 152, 0, 31, 62))
	require.NoError(t, err)
	assert.InDelta(t, 152, f.FloorMM, 1e-9)
	assert.InDelta(t, 1.04, f.Scale, 1e-9)
	assert.Equal(t, FitGood, f.Word)
	j := f.Apply(Jar{Profile: Profile{Shape: ShapeCylinder, DiameterMM: 70}})
	require.NoError(t, j.Check())
	assert.InDelta(t, 45, j.Level(152-45/1.04), 1e-9)
	assert.InDelta(t, 152-45/1.04, j.Range(45), 1e-9)
	f, err = FitHeights(heights(1, 150, 0, 60))
	require.NoError(t, err)
	assert.Equal(t, FitUntested, f.Word)
}

func TestAFloorThatSeesTheWallWeighsLeast(t *testing.T) {
	o := Optics{ConeDeg: 22}
	u := o.UWallMM(150, 50)
	assert.Positive(t, u)
	assert.Zero(t, o.UWallMM(128, 50))
	hs := heights(1, 150, 0, 30, 60)
	hs[0].RangeMM -= 4 // the wall pulls it near
	hs[0].URangeMM = math.Hypot(hs[0].URangeMM, u)
	f, err := FitHeights(hs)
	require.NoError(t, err)
	j := f.Apply(Jar{})
	assert.InDelta(t, 30, j.Level(120), 0.4)
	assert.InDelta(t, 60, j.Level(90), 0.4)
}

// TestFitUncertaintyCoversTheTruth repeats a calibration with errors as large as claimed: the level at 45 mm lies within
// twice its standard uncertainty in 95 of 100, and the widening for scatter never makes it less.
func TestFitUncertaintyCoversTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	within := 0
	const n = 2000
	for range n {
		hs := heights(0.97, 148, 0, 30, 60)
		for i := range hs {
			hs[i].LevelMM = max(0, hs[i].LevelMM) + 0.3*r.NormFloat64() + 1
			hs[i].RangeMM += 0.1 * r.NormFloat64()
		}
		f, err := FitHeights(hs)
		require.NoError(t, err)
		j := f.Apply(Jar{})
		level := j.Level(148-45/0.97) - 1
		u := math.Hypot(f.UFloorMM, f.UScale/f.Scale*(level-f.PivotMM))
		if math.Abs(level-45) <= 1.96*u {
			within++
		}
	}
	assert.GreaterOrEqual(t, within, n*93/100)
	assert.LessOrEqual(t, within, n*99/100)
}

func TestABadHeightIsSaid(t *testing.T) {
	hs := heights(1, 150, 0, 20, 40, 60)
	hs[2].RangeMM += 3
	f, err := FitHeights(hs)
	require.NoError(t, err)
	assert.Equal(t, FitPoor, f.Word)
	assert.Equal(t, 2, f.Worst)
	assert.Greater(t, f.WorstMM, 1.0)
}

func TestHeightsThatCannotBeAreRefused(t *testing.T) {
	h := func(level, dist float64) Height {
		return Height{LevelMM: level, ULevelMM: 0.3, RangeMM: dist, URangeMM: 0.1}
	}
	for want, hs := range map[string][]Height{
		"needs at least 2 heights":             {h(0, 150)},
		"two heights are at one level, 30 mm":  {h(0, 150), h(30, 120), h(30, 119)},
		"is seen at 155.0 mm, no nearer than":  {h(0, 150), h(30, 155)},
		"height of -2 mm cannot be":            {h(-2, 150), h(30, 120)},
		"the heights span only 5 mm":           {h(0, 150), h(5, 145)},
		"change by 0.50 mm for each mm":        {h(0, 150), h(40, 130)},
		"range of NaN mm cannot be":            {h(0, math.NaN()), h(40, 130)},
		"height's uncertainty of -1 mm cannot": {{LevelMM: 0, ULevelMM: -1, RangeMM: 150}, h(40, 110)},
	} {
		_, err := FitHeights(hs)
		assert.ErrorContains(t, err, want)
	}
}

func TestRepeatability(t *testing.T) {
	_, err := Repeatability([]float64{150, 151, 150}, 0.1)
	assert.ErrorContains(t, err, "lift the lid")
	// s = 1, four mountings: √(5/4·3) for a fifth.
	got, err := Repeatability([]float64{150 - math.Sqrt(0.75), 150 + math.Sqrt(0.75), 150 - math.Sqrt(0.75), 150 + math.Sqrt(0.75)}, 0)
	require.NoError(t, err)
	assert.InDelta(t, math.Sqrt(5.0/4*3), got, 1e-9)
	got, err = Repeatability([]float64{150, 150, 150, 150}, 0.3)
	require.NoError(t, err)
	assert.Zero(t, got)
}

func TestTareFloor(t *testing.T) {
	j := Jar{Name: "tall", FloorMM: 150, UFloorMM: 0.4, URepeatMM: 0.5}
	floor, u, err := TareFloor(j, 147.2, 0.1, 2)
	require.NoError(t, err)
	assert.InDelta(t, 149.2, floor, 1e-9)
	assert.InDelta(t, 0.22, u, 0.01)
	_, _, err = TareFloor(j, 120, 0.1, 2)
	assert.ErrorContains(t, err, "is it this jar, empty")
	_, _, err = TareFloor(j, 150, 0.1, 0)
	assert.ErrorContains(t, err, "matte white disc")
}

func still(r *rand.Rand, mm, signal float64) Burst {
	return Burst{RangeMM: Known(mm + r.NormFloat64()/math.Sqrt(20)), SpreadMM: Known(1), Valid: 20, Of: 20, SignalMcps: Known(signal + 0.02*r.NormFloat64())}
}

func TestAverageEndsWhenItKnowsEnough(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	off, covered, longest := 0.0, 0, 0
	for range 500 {
		var a Average
		for !a.Done(0.06) {
			require.True(t, a.Add(still(r, 120, 10)))
			require.Empty(t, a.State().Problem)
			require.Less(t, a.State().Bursts, 200)
		}
		s := a.State()
		off += s.RangeMM - 120
		longest = max(longest, s.Bursts)
		if math.Abs(s.RangeMM-120) < 1.96*s.UMM {
			covered++
		}
	}
	assert.InDelta(t, 0, off/500, 0.01)
	assert.Greater(t, covered, 450)
	// 1 mm / √20 / √n = 0.06 mm at 14 bursts.
	assert.InDelta(t, 20, longest, 10)
}

func TestAverageRefusesWhatDoesNotStandStill(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 3))
	for want, burst := range map[string]func(i int) Burst{
		"does not rock":          func(i int) Burst { return still(r, 120+3*float64(i%2), 10) },
		"let the sensor warm up": func(i int) Burst { return still(r, 120+0.1*float64(i), 10) },
		"wipe the":               func(i int) Burst { return still(r, 120-0.1*float64(i), 10-0.1*float64(i)) },
	} {
		var a Average
		for i := range 20 {
			a.Add(burst(i))
		}
		assert.Contains(t, a.State().Problem, want)
		assert.False(t, a.Done(10))
	}
	var a Average
	assert.False(t, a.Add(Burst{Of: 20}))
	assert.Equal(t, "no range yet", a.State().Problem)
	// A target without noise is rounded alike in every burst, and no waiting helps.
	for range 6 {
		a.Add(Burst{RangeMM: Known(120), SpreadMM: Known(0), Valid: 20, Of: 20})
	}
	assert.InDelta(t, 1/math.Sqrt(12), a.State().UMM, 0.02)
	assert.True(t, a.Done(0.1))
}
