package rise

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// somewhere draws parameters about the prior.
func somewhere(rng *rand.Rand) [parameters]float64 {
	q := newPrior(Progress{})
	var b [parameters]float64
	for j := range b {
		b[j] = q.mean[j] + 2*q.sd[j]*rng.NormFloat64()
	}
	return b
}

// TestGrowth_Slopes: the derivatives agree with differences.
func TestGrowth_Slopes(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		b, thermal := somewhere(rng), 12*rng.Float64()
		got := make([]float64, fitted)
		g := growthOf(&b)
		y := g.slopes(thermal, got)
		assert.InDelta(t, g.risen(g.gas(thermal)), y, 1e-12)
		if math.Abs(g.gas(thermal)) < 1e-3 {
			continue // the slopes have a step there
		}
		for j := range got {
			const h = 1e-6
			hi, lo := b, b
			hi[j], lo[j] = b[j]+h, b[j]-h
			u, v := growthOf(&hi), growthOf(&lo)
			want := (u.risen(u.gas(thermal)) - v.risen(v.gas(thermal))) / (2 * h)
			assert.InDelta(t, want, got[j], 1e-6*(1+math.Abs(want)), "parameter %d at %v of %+v", j, thermal, g)
		}
	}
}

// TestGrowth_TimeTo: the inverse gives the rise back, and says never for what is never reached.
func TestGrowth_TimeTo(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 2000 {
		b := somewhere(rng)
		g := growthOf(&b)
		most := g.risen(g.ceiling)
		for _, y := range []float64{0.01, 0.5, 0.9, 0.999} {
			at, ok := g.timeTo(y * most)
			require.True(t, ok)
			assert.InEpsilon(t, y*most, g.risen(g.gas(at)), 1e-8)
		}
		for _, y := range []float64{most * 1.001, 1e9, math.Inf(1), 0, -1, math.NaN()} {
			_, ok := g.timeTo(y)
			assert.False(t, ok, y)
		}
	}
}

// TestGrowth_GrowingAndNot repeats the time to make 1.2 l/kg of gas from a starting rate g0, t = ln(1 + μG/g0)/μ for yeast
// that grows at μ = 0.3 per hour, and G/g0 for yeast that does not: halving the inoculation costs at most ln2/μ in the
// first, and doubles the time in the second.
func TestGrowth_GrowingAndNot(t *testing.T) {
	for g0, want := range map[float64][2]float64{0.274: {2.796, 4.38}, 0.137: {4.295, 8.76}, 0.0685: {6.112, 17.52}, 0.0343: {8.140, 34.99}} {
		growing := growth{seed: g0 / 0.3, pace: 0.3, dissolved: 1e-12, air: 1e-12, ceiling: 1e7}
		at, ok := growing.timeTo(1.2)
		require.True(t, ok)
		assert.InDelta(t, want[0], at, 2e-3)
		still := growth{seed: g0 / 1e-5, pace: 1e-5, dissolved: 1e-12, air: 1e-12, ceiling: 1e7}
		at, ok = still.timeTo(1.2)
		require.True(t, ok)
		assert.InEpsilon(t, want[1], at, 5e-3)
	}
}

// TestGrowth_DissolvedFirst: by the solubility of carbon dioxide (CRC Handbook, 0.85 l per kg water at 25 °C) a dough of
// 0.42 kg water and 0.85 l to the kilogram takes up about 40 % of its own volume of gas.
func TestGrowth_DissolvedFirst(t *testing.T) {
	share := 0.42 * 0.85 / 0.85
	g := growth{seed: 0.3, pace: 0.4, dissolved: share, air: 1e-6, ceiling: 5}
	assert.Less(t, g.risen(0.4), 0.001)
	assert.InDelta(t, 0.1, g.risen(share+0.1), 0.001)
}
