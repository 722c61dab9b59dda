package dough_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
)

func TestBodyFollowsTheRoom(t *testing.T) {
	b := dough.Body{C: 24, TauH: 2}
	for range 200 {
		b.Step(0.01, 4)
	}
	assert.InDelta(t, 4+20*math.Exp(-1), b.C, 1e-9, "one time constant later")
}

// A home baker's series of 1.5 kg in two baskets put into air of 4 °C (forum post, a single run): the time constants
// drawn for a main dough hold it between them.
func TestMainDoughCoolsLikeARealOne(t *testing.T) {
	for _, row := range table(t, "dough_cooling_example.csv") {
		quick, slow := dough.Body{C: 24, TauH: 1.7}, dough.Body{C: 24, TauH: 4.5}
		quick.Step(row[0], 4)
		slow.Step(row[0], 4)
		assert.GreaterOrEqual(t, row[1], quick.C-0.01)
		assert.LessOrEqual(t, row[1], slow.C+0.5)
	}
}

func TestRooms(t *testing.T) {
	night := dough.Warming(22, 17, 1, 4, 8)
	assert.Equal(t, 22.0, night(0.5))
	assert.InDelta(t, 17+5*math.Exp(-1), night(5), 1e-9)
	assert.InDelta(t, night(7.999), night(8), 0.01, "no jump as the heating comes on")
	assert.InDelta(t, 22, night(11), 0.02)
	assert.Equal(t, 17.5, dough.Box(17, 0.5, 1)(0.25))
	fridge := dough.Steady(22).Then(3, dough.Steady(4))
	assert.Equal(t, []float64{22, 4}, []float64{fridge(2.9), fridge(3)})
}

func TestDrawnRoomsAreKitchens(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, kind := range dough.RoomKinds {
		for range 50 {
			room := dough.DrawRoom(rng, kind)
			for h := 0.0; h < 24; h += 0.5 {
				assert.Greater(t, room(h), 12.0, kind)
				assert.Less(t, room(h), 30.5, kind)
			}
		}
	}
	assert.Panics(t, func() { dough.DrawRoom(rng, "greenhouse") })
}

func TestNightTellsBothDoughs(t *testing.T) {
	p := dough.Default()
	n := dough.Simulate(p, dough.Cooling(24, 17, 0, 3), dough.Span{Hours: 20, Main: true})
	sample, ok := n.TimeTo(1.8)
	assert.True(t, ok)
	whole, ok := n.MainTimeTo(1.8)
	assert.True(t, ok)
	assert.Greater(t, sample, whole, "the small sample follows the cooling room faster than the dough it stands for")
	assert.Equal(t, len(n.Hours), len(n.MainMultiple))
	_, ok = n.TimeTo(9)
	assert.False(t, ok)
}
