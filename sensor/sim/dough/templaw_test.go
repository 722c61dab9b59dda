package dough

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestSquareRootLawHasItsCardinalTemperatures(t *testing.T) {
	k := Culture{MinC: 1, OptC: 30, MaxC: 41}
	l := newSquareRoot(k)
	assert.Zero(t, l.rate(1))
	assert.Zero(t, l.rate(41))
	assert.InDelta(t, 1, l.rate(25), 1e-12)
	assert.Greater(t, l.rate(30), l.rate(29.8))
	assert.Greater(t, l.rate(30), l.rate(30.2))
}

// Rate against temperature as Gause measured it (Q. Rev. Biol. 7:27, 1932, Table 5; logistic fits): the ratio of the
// rates is 5.1 per 10 K between 5.7 and 15 °C but 2.2 between 15 and 28 °C. No law of one Q10 has both.
func TestColdSlowsMoreThanAConstantQ10(t *testing.T) {
	c := Default().Culture
	for name, rate := range map[string]func(float64) float64{"monod": newSquareRoot(c).rate, "film": newArrhenius(c).rate} {
		low, high := rate(15)/rate(5), rate(28)/rate(18)
		assert.Greater(t, low, 1.3*high, name)
		assert.Greater(t, high, 1.5, name)
		assert.Less(t, high, 2.6, name)
	}
}

// Final volume of yeast over that at 28 °C, from the same table: 6.8, 4.6 and 0.4 over 9.8 at 33, 37 and 41 °C.
func TestHotDoughEndsEarlier(t *testing.T) {
	assert.InDelta(t, 6.8/9.8, endurance(33), 0.08)
	assert.InDelta(t, 4.6/9.8, endurance(37), 0.08)
	assert.InDelta(t, 0.4/9.8, endurance(41), 0.08)
	assert.Equal(t, 1.0, endurance(28))
}

// A refrigerator does not stop yeast: Gause's logistic rates are 0.011-0.016 per hour at 5.7 °C and 0.15-0.20 at 28 °C.
func TestRefrigeratorOnlySlows(t *testing.T) {
	c := Default().Culture
	for name, rate := range map[string]func(float64) float64{"monod": newSquareRoot(c).rate, "film": newArrhenius(c).rate} {
		share := rate(5.7) / rate(28)
		assert.Greater(t, share, 0.011/0.20*0.8, name)
		assert.Less(t, share, 0.016/0.15, name)
	}
}
