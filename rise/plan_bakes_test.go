package rise_test

import (
	"testing"
	"time"

	"nightjar/rise"

	"github.com/stretchr/testify/assert"
)

// baked is the n-th bake with a multiple at its end and an outcome.
func baked(n int, multiple float64, o rise.Outcome) rise.Bake {
	return rise.Bake{Run: n, Baked: evening.AddDate(0, 0, n), Multiple: rise.Known(multiple), Hours: rise.Known(9), UsualToH: rise.Known(12), Outcome: o}
}

var (
	fine  = rise.Outcome{Spread: "held", Crumb: "open", Crust: "good", Sourness: "right"}
	tight = rise.Outcome{Spread: "tall", Crumb: "tight"}
	flat  = rise.Outcome{Spread: "flat", Crumb: "open"}
	sharp = rise.Outcome{Spread: "held", Crumb: "even", Sourness: "sharp"}
)

func TestAtMostOneChange(t *testing.T) {
	for name, c := range map[string]struct {
		bakes          []rise.Bake
		change, reason string
	}{
		"one bake":        {[]rise.Bake{baked(1, 1.6, tight)}, "", "at least two bakes"},
		"all well":        {[]rise.Bake{baked(1, 1.6, tight), baked(2, 1.8, fine)}, "", "no reason to change"},
		"twice tight":     {[]rise.Bake{baked(1, 1.5, tight), baked(2, 1.5, tight)}, "End bulk at ×1.65.", "2 of the last 2"},
		"as the good one": {[]rise.Bake{baked(1, 1.8, fine), baked(2, 1.5, tight)}, "End bulk at ×1.80.", "run 1 came out well"},
		"twice flat":      {[]rise.Bake{baked(1, 2.2, flat), baked(2, 2.1, flat)}, "End bulk at ×1.95.", "too much fermentation"},
		"good was higher": {[]rise.Bake{baked(1, 2.3, fine), baked(2, 2.1, flat), baked(3, 2.1, flat)}, "End bulk at ×1.95.", "2 of the last 3"},
		"sharp":           {[]rise.Bake{baked(1, 1.8, sharp), baked(2, 1.8, sharp)}, "more starter", "acid comes with time"},
		"not twice":       {[]rise.Bake{baked(1, 1.8, sharp), baked(2, 1.5, tight)}, "", "only one bake of 2"},
		"flat and tight":  {[]rise.Bake{baked(1, 1.8, fine), baked(2, 1.8, rise.Outcome{Spread: "flat", Crumb: "tight"})}, "", "as well as of too much"},
		"no words":        {[]rise.Bake{baked(1, 1.8, rise.Outcome{}), baked(2, 1.5, tight)}, "", "Not enough to say"},
	} {
		a := rise.Advise(c.bakes)
		if c.change == "" {
			assert.Empty(t, a.Change, name)
		}
		assert.Contains(t, a.Change, c.change, name)
		assert.Contains(t, a.Reason, c.reason, name)
		assert.Contains(t, a.Unseen, "shaping, oven or flour", name)
	}
}

// The classic case: doubled, and still flat and tight, because it doubled too slowly.
func TestFlatAndSlowIsTheStarter(t *testing.T) {
	slow := baked(2, 2, rise.Outcome{Spread: "flat", Crumb: "tight"})
	slow.Hours = rise.Known(19)
	before := slow
	before.Run, before.Baked = 1, evening
	a := rise.Advise([]rise.Bake{slow, before})
	assert.Contains(t, a.Change, "Strengthen the starter")
	assert.Contains(t, a.Reason, "19 h where at most 12 h is usual")
}

func TestOutcomeWords(t *testing.T) {
	assert.NoError(t, fine.Check())
	assert.ErrorContains(t, rise.Outcome{}.Check(), "at least one")
	assert.ErrorContains(t, rise.Outcome{Crumb: "holey"}.Check(), `crumb "holey" is unknown: it is one of tight, even, open, gummy`)
}

func TestBakeCountsItsHours(t *testing.T) {
	s := rise.Summary{Run: rise.Run{Number: 7, Target: 2, InoculationPct: rise.Known(10)}, MeanC: rise.Known(21.5)}
	b := rise.NewBake(s, evening, evening.Add(11*time.Hour), evening.Add(25*time.Hour), rise.Known(1.9), fine)
	assert.InDelta(t, 11, b.Hours.Or(0), 1e-9)
	assert.InDelta(t, 14, b.AfterH.Or(0), 1e-9)
	assert.InDelta(t, 14, b.UsualToH.Or(0), 1, "10 to 14 h at room temperature; common practice, no source")
	b = rise.NewBake(s, time.Time{}, evening, time.Time{}, rise.Num{}, fine)
	assert.False(t, b.Hours.IsKnown())
	assert.False(t, b.AfterH.IsKnown())
}

func TestThermalHours(t *testing.T) {
	hours := []float64{0, 1, 2, 3}
	assert.InDeltaSlice(t, hours, rise.ThermalHours(hours, nil), 1e-12)
	assert.InDeltaSlice(t, hours, rise.ThermalHours(hours, []rise.Num{rise.Known(25)}), 1e-12)
	cold := rise.ThermalHours(hours, []rise.Num{rise.Known(15)})
	yeast := rise.SourdoughYeast()
	assert.InDelta(t, 3*yeast.Rate(15)/yeast.Rate(25), cold[3], 1e-12)
	assert.InDeltaSlice(t, []float64{0, 0, 1, 2}, rise.ThermalHours([]float64{0, -1, 1, 2}, nil), 1e-12)
}

// Of two that had too much, the one that ended earlier tells more: the change goes on from there.
func TestAChangeGoesBeyondEveryBakeWithTheFault(t *testing.T) {
	first := baked(1, 1.95, rise.Outcome{Spread: "flat", Crumb: "open"})
	last := baked(2, 2.35, rise.Outcome{Spread: "flat", Crumb: "even"})
	a := rise.Advise([]rise.Bake{first, last})
	assert.Equal(t, "End bulk at ×1.80.", a.Change)
	assert.Contains(t, a.Reason, "the last ended at ×2.35, one at ×1.95.")
	first.Outcome, last.Outcome = rise.Outcome{Spread: "tall", Crumb: "tight"}, rise.Outcome{Spread: "held", Crumb: "gummy"}
	first.Multiple, last.Multiple = rise.Known(1.9), rise.Known(1.6)
	assert.Equal(t, "End bulk at ×2.05.", rise.Advise([]rise.Bake{first, last}).Change)
}
