package rise

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// disturbedKitchen is a night whose scenes were changed between two times, with the truth of each tick.
func disturbedKitchen(seed uint64, from, to float64, change func(s *scene, share float64)) (*kitchen, []float64) {
	k := newKitchen(seed)
	s := k.scenes()
	a, b := int(from*120), int(to*120)
	for i := a; i < b; i++ {
		change(&s[i], float64(i-a)/float64(b-a))
	}
	k.read(s)
	return k, k.truth()
}

func TestFogHoldsTheLevelAndNeverRaisesIt(t *testing.T) {
	t.Parallel()
	k, truth := disturbedKitchen(12, 3, 4, func(s *scene, share float64) { s.window = 20 * share })
	es := foldLevels(t, k.kase())
	fogged := 0
	for i, e := range es {
		if e.SetAside == AsideFog {
			fogged++
			require.LessOrEqual(t, e.Multiple.Or(9), truth[i]+0.04, "tick %d", i)
		}
	}
	assert.Greater(t, fogged, 60)
	after := es[5*120]
	assert.InDelta(t, truth[5*120], after.Multiple.Or(0), 3*after.MultipleU.Or(0))
}

func TestABubbleThatBurstsIsNotCarriedOn(t *testing.T) {
	t.Parallel()
	k, truth := disturbedKitchen(12, 4, 4.4, func(s *scene, share float64) { s.mm -= 4 * share })
	es := foldLevels(t, k.kase())
	var events []string
	for _, e := range es {
		if e.Event != "" {
			events = append(events, e.Event)
		}
	}
	require.Len(t, events, 1)
	assert.Contains(t, events[0], "a bubble has burst")
	e := es[6*120]
	assert.InDelta(t, truth[6*120], e.Multiple.Or(0), 2.5*e.MultipleU.Or(0))
}

func TestAJarThatComesBackLowerAsks(t *testing.T) {
	t.Parallel()
	k, _ := disturbedKitchen(12, 8, 8.01, func(*scene, float64) {})
	k.readings = nil
	s := k.scenes()
	for i := 8 * 120; i < len(s); i++ {
		if s[i].mm += 8; i < 8*120+10 {
			s[i].mm = k.floorMM + 6
		}
	}
	k.read(s)
	es := foldLevels(t, k.kase())
	assert.Empty(t, es[8*120-1].Ask)
	assert.Contains(t, es[9*120].Ask, "Is it the same dough?")
	c := k.kase()
	c.Actions = []Action{{Kind: ActionRebase, When: Moment{Stamp: Stamp{Boot: 1, At: es[9*120].At}}}}
	c.Readings = c.Readings[:10*120]
	_, last, err := Resume(c)
	require.NoError(t, err)
	assert.Empty(t, last.Ask, "answered by rebasing")
}
