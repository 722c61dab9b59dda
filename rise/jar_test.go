package rise

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestVolumeOfACylinder(t *testing.T) {
	p := Profile{Shape: ShapeCylinder, DiameterMM: 70}
	// π/4·7²·3 cm³.
	assert.InDelta(t, 115.4535, p.Volume(30), 1e-4)
	assert.InDelta(t, 2, p.Volume(60)/p.Volume(30), 1e-12)
}

func TestATaperedGlassDoublesBeforeTwiceTheHeight(t *testing.T) {
	p := Profile{Shape: ShapeCone, DiameterMM: 64, Lean: 0.05}
	// π∫(32 + 0.05z)²dz from 0 to 60 mm over that to 30 mm: ×2.094.
	assert.InDelta(t, 2.094, p.Volume(60)/p.Volume(30), 5e-4)
	integral := 0.0
	for i := range 60_000 {
		r := 32 + 0.05*(float64(i)+0.5)/1000
		integral += math.Pi * r * r / 1000 / 1000
	}
	assert.InEpsilon(t, integral, p.Volume(60), 1e-9)
}

func TestAPouredTapersVolumeBetweenItsPoints(t *testing.T) {
	// A tulip-shaped glass: its radius swells by 12 mm and narrows again, poured in steps of 50 g of water at 1 g/ml.
	radius := func(z float64) float64 { return 32 + 12*math.Sin(math.Pi*z/130) }
	exact := func(h float64) float64 {
		sum := 0.0
		n := 4000
		for i := range n {
			r := radius((float64(i) + 0.5) * h / float64(n))
			sum += math.Pi * r * r * h / float64(n) / 1000
		}
		return sum
	}
	p := Profile{Shape: ShapePoured}
	for v, h := 50.0, 0.0; h < 115; v += 50 {
		for exact(h) < v {
			h += 0.01
		}
		p.Points = append(p.Points, PouredPoint{LevelMM: h, VolumeML: exact(h)})
	}
	require.NoError(t, p.Check())
	for h := 10.0; h < p.Points[len(p.Points)-1].LevelMM; h++ {
		require.InEpsilon(t, exact(h), p.Volume(h), 0.005, "at %g mm", h)
	}
}

func profiles() map[string]Profile {
	return map[string]Profile{
		"cylinder": {Shape: ShapeCylinder, DiameterMM: 70},
		"cone":     {Shape: ShapeCone, DiameterMM: 64, Lean: 0.05},
		"narrow":   {Shape: ShapeCone, DiameterMM: 80, Lean: -0.1},
		"poured":   {Shape: ShapePoured, Points: []PouredPoint{{12, 50}, {26, 100}, {33, 150}, {60, 200}, {66, 250}}},
		"levels":   {},
	}
}

func TestVolumeGrowsWithLevelAndItsSlopeIsRight(t *testing.T) {
	for name, p := range profiles() {
		curve := p.compile()
		for h := 0.25; h < 200; h += 0.5 {
			v, dv := curve(h)
			next, _ := curve(h + 1e-4)
			before, _ := curve(h - 1e-4)
			require.Greater(t, next, before, "%s at %g mm", name, h)
			require.InDelta(t, (next-before)/2e-4, dv, 1e-3*dv+1e-4, "%s at %g mm", name, h)
			back, ok := p.Level(v)
			require.True(t, ok, "%s at %g mm", name, h)
			require.InDelta(t, h, back, 1e-6, "%s", name)
		}
	}
}

func TestScalingHeightsScalesTheLevel(t *testing.T) {
	j := Jar{FloorMM: 150}
	for _, k := range []float64{0.5, 1, 2} {
		j.FloorMM = 150 * k
		assert.InDelta(t, 30*k, j.Level(120*k), 1e-12)
	}
}

func TestAJarThatCannotBeIsRefusedByName(t *testing.T) {
	round := Profile{Shape: ShapeCylinder, DiameterMM: 70}
	poured := func(points ...PouredPoint) Profile { return Profile{Shape: ShapePoured, Points: points} }
	for want, j := range map[string]Jar{
		"floor distance of -3 mm":                   {FloorMM: -3, Profile: round},
		"floor distance of NaN mm":                  {FloorMM: math.NaN(), Profile: round},
		"floor distance of 0 mm":                    {Profile: round},
		"floor distance's uncertainty of -1 mm":     {FloorMM: 150, UFloorMM: -1, Profile: round},
		"inner diameter of 0 mm":                    {FloorMM: 150, Profile: Profile{Shape: ShapeCylinder}},
		"inner diameter at the floor":               {FloorMM: 150, Profile: Profile{Shape: ShapeCone, DiameterMM: 4000}},
		"lean of the wall of 3":                     {FloorMM: 150, Profile: Profile{Shape: ShapeCone, DiameterMM: 70, Lean: 3}},
		"give its inner diameter":                   {FloorMM: 150},
		`unknown shape "square"`:                    {FloorMM: 150, Profile: Profile{Shape: "square"}},
		"needs at least 2 points, this one has 1":   {FloorMM: 150, Profile: poured(PouredPoint{10, 50})},
		"point 2 is at 10 mm, not above 10 mm":      {FloorMM: 150, Profile: poured(PouredPoint{10, 50}, PouredPoint{10, 100})},
		"point 2 holds 40 ml, not more than 50 ml":  {FloorMM: 150, Profile: poured(PouredPoint{10, 50}, PouredPoint{20, 40})},
		"level of point 1 of -1 mm":                 {FloorMM: 150, Profile: poured(PouredPoint{-1, 50}, PouredPoint{20, 80})},
		"point 1 is at 0 mm, not above 0 mm before": {FloorMM: 150, Profile: poured(PouredPoint{0, 50}, PouredPoint{20, 80})},
	} {
		assert.ErrorContains(t, j.Check(), want)
		_, err := NewTracker(Case{Run: Run{Target: 2}, Jar: j})
		assert.ErrorContains(t, err, want)
	}
	assert.NoError(t, Jar{}.Check(), "a recording of levels has no jar")
	assert.NoError(t, Jar{FloorMM: 150, Profile: poured(PouredPoint{}, PouredPoint{20, 80})}.Check())
}

func TestATargetThatCannotBeIsRefused(t *testing.T) {
	for _, target := range []float64{0, 1, -2, 11, math.NaN(), math.Inf(1)} {
		_, err := NewTracker(Case{Run: Run{Target: target}})
		assert.ErrorContains(t, err, "above 1 and at most 10", "%g", target)
	}
	_, err := NewTracker(Case{Run: Run{Target: 2, BaseMM: Known(-4)}})
	assert.ErrorContains(t, err, "base level of -4 mm")
	_, err = NewTracker(Case{Run: Run{Target: 2, BaseMM: Known(30), UBaseMM: Known(-1)}})
	assert.ErrorContains(t, err, "base level's uncertainty")
}

// TestUncertaintyOfTheWorkedExample: 30 mm risen to 60 mm, read within 0.5 mm each, under a sensor whose distance to the
// floor is off by 0.8 mm: JCGM 100:2008, eq. 10, gives 100·√(0.5²/30² + 60²·0.5²/30⁴ + (1/30 − 60/30²)²·0.8²) = 4.58 points.
func TestUncertaintyOfTheWorkedExample(t *testing.T) {
	m, u, ok := multipleOf(Profile{Shape: ShapeCylinder, DiameterMM: 70}.compile(), 30, 60, effect{base: 0.5}, effect{level: 0.5}, effect{0.8, 0.8})
	require.True(t, ok)
	assert.InDelta(t, 2, m, 1e-12)
	assert.InDelta(t, 4.58, 100*u, 0.005)
	assert.InDelta(t, 100*math.Sqrt(0.25/900+3600*0.25/810_000+math.Pow(1.0/30-60.0/900, 2)*0.64), 100*u, 1e-9)
	// The floor alone: 1 mm at doubling on 30 mm is 3.3 points.
	_, u, _ = multipleOf(Profile{}.compile(), 30, 60, effect{1, 1})
	assert.InDelta(t, 100.0/30, 100*u, 1e-9)
	_, _, ok = multipleOf(Profile{}.compile(), 0, 60)
	assert.False(t, ok, "nothing is a multiple of nothing")
}

// TestUncertaintyAgreesWithMonteCarlo propagates distributions as in JCGM 101:2008, 7.
func TestUncertaintyAgreesWithMonteCarlo(t *testing.T) {
	for name, p := range profiles() {
		curve := p.compile()
		const base, level, uBase, uLevel, uFloor = 30, 58, 0.4, 0.3, 0.7
		r := rand.New(rand.NewPCG(1, 8))
		var sum, sum2 float64
		const n = 200_000
		for range n {
			floor := uFloor * r.NormFloat64()
			vl, _ := curve(level + floor + uLevel*r.NormFloat64())
			vb, _ := curve(base + floor + uBase*r.NormFloat64())
			m := vl / vb
			sum, sum2 = sum+m, sum2+m*m
		}
		sd := math.Sqrt(sum2/n - sum*sum/n/n)
		_, u, _ := multipleOf(curve, base, level, effect{base: uBase}, effect{level: uLevel}, effect{uFloor, uFloor})
		assert.InEpsilon(t, sd, u, 0.05, name)
	}
}

func FuzzJarCheck(f *testing.F) {
	f.Add(150.0, 0.5, 70.0, 0.05, 30.0, 100.0)
	f.Add(-1.0, math.Inf(1), 0.0, -3.0, 0.0, math.NaN())
	f.Fuzz(func(t *testing.T, floor, u, diameter, lean, level, volume float64) {
		for _, shape := range []Shape{ShapeCylinder, ShapeCone, ShapePoured} {
			p := Profile{Shape: shape, DiameterMM: diameter, Lean: lean, Points: []PouredPoint{{level, volume}, {level * 2, volume * 2}}}
			j := Jar{FloorMM: floor, UFloorMM: u, Profile: p}
			if j.Check() != nil {
				continue
			}
			for _, h := range []float64{-5, 0, 1, 30, 500} {
				v, dv := p.compile()(h)
				require.False(t, math.IsNaN(v) || math.IsNaN(dv) || math.IsInf(v, 0), "%+v at %g: %g %g", p, h, v, dv)
			}
		}
	})
}
