package rise

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWhereAConeMeetsTheWall: the spot is 2·d·tan(cone/2); VL53L4CD 22° near (data sheet DS13812 Rev 3), VL53L1X emitter
// 27° (application note AN5191), VL53L0X 25° (data sheet DS11555).
func TestWhereAConeMeetsTheWall(t *testing.T) {
	for _, tt := range []struct{ cone, diameter, want float64 }{
		{22, 50, 129}, {22, 70, 180}, {22, 90, 232}, {27, 50, 104}, {27, 70, 146}, {25, 50, 113}, {25, 70, 158},
	} {
		o := Optics{ConeDeg: tt.cone}
		assert.InDelta(t, tt.want, o.WallDepthMM(tt.diameter), 0.6)
		assert.InDelta(t, tt.diameter, o.SpotMM(o.WallDepthMM(tt.diameter)), 1e-9)
	}
	assert.InDelta(t, 39, Optics{ConeDeg: 22}.SpotMM(100), 0.5)
}

func TestDiameterAt(t *testing.T) {
	assert.InDelta(t, 70, Profile{Shape: ShapeCylinder, DiameterMM: 70}.DiameterAt(40), 1e-9)
	assert.InDelta(t, 68, Profile{Shape: ShapeCone, DiameterMM: 64, Lean: 0.05}.DiameterAt(40), 1e-9)
}

func TestHowMuchDough(t *testing.T) {
	j := Jar{Name: "tall", FloorMM: 150, UFloorMM: 0.4, Profile: Profile{Shape: ShapeCylinder, DiameterMM: 70}}
	o := Optics{ConeDeg: 22, NearestMM: 10}
	f, err := j.FillByLevel(30, DefaultDensityGML, RunDough, 2, o)
	require.NoError(t, err)
	// π/4·7²·3 cm³ at 1.18 g/ml; (150 − 10)/30.
	assert.Equal(t, "136 g gives 30 mm, room for ×4.7", f.String())
	assert.Empty(t, f.Warnings)
	back, err := j.FillByMass(f.Grams, DefaultDensityGML, RunDough, 2, o)
	require.NoError(t, err)
	assert.InDelta(t, 30, back.BaseMM, 1e-6)

	_, err = j.FillByLevel(60, DefaultDensityGML, RunDough, 2, o)
	assert.ErrorContains(t, err, "room for ×2.3, but ×2.5 is needed: take 254 g at most (56 mm)")
	_, err = j.FillByLevel(50, DefaultDensityGML, RunStarter, 2, o)
	assert.ErrorContains(t, err, "but ×3.0 is needed")
	_, err = j.FillByLevel(170, DefaultDensityGML, RunDough, 2, o)
	assert.ErrorContains(t, err, "the jar is used from 0 to 140 mm")
	_, err = j.FillByMass(0, DefaultDensityGML, RunDough, 2, o)
	assert.ErrorContains(t, err, "weigh it again")
	_, err = j.FillByMass(1e9, DefaultDensityGML, RunDough, 2, o)
	assert.ErrorContains(t, err, "weigh it again")

	narrow := Jar{FloorMM: 150, Profile: Profile{Shape: ShapeCylinder, DiameterMM: 46}}
	f, err = narrow.FillByLevel(18, DefaultDensityGML, RunDough, 2, o)
	require.NoError(t, err)
	require.Len(t, f.Warnings, 2)
	// The cone meets the wall 118 mm below the ranger.
	assert.Contains(t, f.Warnings[0], "the wall below 31 mm")
	assert.Contains(t, f.Warnings[1], "1 mm is 5.6 % of rise")
}

func TestWhatAJarCanDo(t *testing.T) {
	j := Jar{FloorMM: 150, UFloorMM: 0.3, Profile: Profile{Shape: ShapeCylinder, DiameterMM: 70}}
	a := j.Ability(32, "rye")
	assert.InDelta(t, 100.0/32, a.PerMMPct, 1e-9)
	assert.Contains(t, a.String(), "1 mm is 3.1 % rise; doubling known to ±")
	worse := j
	worse.URepeatMM = 1
	assert.Greater(t, worse.Ability(32, "rye").DoubledPct, a.DoubledPct)
	assert.InDelta(t, a.DoubledPct/UsualPacePctH*60, a.Minutes, 1e-9)
}
