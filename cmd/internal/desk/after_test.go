package desk_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/desk"
	"nightjar/rise"
)

// A large piece goes on rising for longer while it cools, so its bulk must end earlier; one that proofs warm earlier still.
func TestBulkEndsEarlierForWhatComesAfter(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	stop := func(change func(*api.StopAsk)) float64 {
		ask := api.StopAsk{Target: 2, InoculationPct: rise.Known(15), DoughC: rise.Known(25), Piece: rise.Piece{DoughKg: 0.5}}
		change(&ask)
		s, err := r.Stop(t.Context(), ask)
		require.NoError(t, err)
		assert.Contains(t, s.Basis, "published ranges")
		v, ok := s.Multiple.Get()
		require.True(t, ok, s.Text)
		return v
	}
	small := stop(func(*api.StopAsk) {})
	large := stop(func(a *api.StopAsk) { a.Piece.DoughKg = 2 })
	proofed := stop(func(a *api.StopAsk) { a.ProofH, a.ProofC, a.ColdH = 1, rise.Known(26), 12 })
	assert.Less(t, small, 2.0)
	assert.Less(t, large, small)
	assert.Less(t, proofed, small)
}

func TestStopKnowsTheRunItsRecipeAndItsTemperature(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	_, err := r.AddRecipe(rise.Recipe{Name: "rolls", Target: rise.Known(1.8), Ingredients: []rise.Ingredient{
		{Name: "flour", Part: rise.PartFlour, G: 500}, {Name: "milk", Part: rise.PartOther, G: 320, WaterPct: rise.Known(87)},
		{Name: "starter", Part: rise.PartStarter, G: 100}, {Name: "salt", Part: rise.PartSalt, G: 10},
	}})
	require.NoError(t, err)
	run := r.start(t, rise.Run{Recipe: "rolls", DoughKg: rise.Known(0.9)})
	begun := r.clock.boot
	r.clock.pass(2 * time.Hour)
	r.read(begun)
	s, err := r.Stop(t.Context(), api.StopAsk{Run: run.Number, BenchH: 0.5})
	require.NoError(t, err)
	assert.Contains(t, s.Text, "×1.80 in all")
	assert.Contains(t, s.Cooling, "whole dough of 0.9 kg")
	require.Len(t, s.Hints, 2)
	assert.Contains(t, s.Hints[0], "USDA FSIS")
	assert.Contains(t, s.Hints[1], "count towards")
	// Half an hour at 24 °C grows a little less than at 25.
	assert.InDelta(t, 0.46, s.FurtherH, 0.04)
}

// A dough of a time constant of 3 h from 25 towards 4 °C is read back from its probe.
func TestStopLearnsHowTheDoughCooledBefore(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	run := r.start(t, rise.Run{InoculationPct: rise.Known(15)})
	begun := r.clock.boot
	for at := time.Duration(0); at <= 10*time.Hour; at += time.Minute {
		c := 25.0
		if h := at.Hours() - 5; h > 0 {
			c = 4 + 21*math.Exp(-h/3)
		}
		r.db.Add("main", rise.Reading{
			Stamp: rise.Stamp{Boot: r.db.Boot(), At: begun + at}, JarC: rise.Known(24), DoughC: rise.Known(c),
			Burst: rise.Burst{RangeMM: rise.Known(100), SpreadMM: rise.Known(1), Valid: 20, Of: 20},
		})
	}
	r.clock.pass(10 * time.Hour)
	for _, a := range []rise.Action{
		{Kind: rise.ActionMark, Mark: "chilled", When: rise.Moment{Wall: r.clock.wall.Add(-5 * time.Hour)}},
		{Kind: rise.ActionEnd},
	} {
		_, err := r.Do(t.Context(), a)
		require.NoError(t, err)
	}
	s, err := r.Stop(t.Context(), api.StopAsk{Run: run.Number, DoughC: rise.Known(25)})
	require.NoError(t, err)
	assert.Contains(t, s.Cooling, "own cooling on 1 earlier night")
	given := rise.After{DoughC: 25, RoomC: 25, ColdH: 12, ColdC: 4, TauH: rise.Known(3)}
	want, err := given.FurtherHours()
	require.NoError(t, err)
	assert.InEpsilon(t, want, s.FurtherH, 0.01)
}

func TestStopsThatCannotBeTold(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	good := api.StopAsk{InoculationPct: rise.Known(15), DoughC: rise.Known(25), Piece: rise.Piece{DoughKg: 1}}
	for _, tt := range []struct {
		name         string
		change       func(*api.StopAsk)
		kind         desk.Kind
		says, remedy string
	}{
		{"no run", func(a *api.StopAsk) { a.Run = 9 }, desk.Missing, "no run 9", "nightjar runs"},
		{"no warmth", func(a *api.StopAsk) { a.DoughC = rise.Num{} }, desk.Bad, "how warm", "--dough-c"},
		{"no mass", func(a *api.StopAsk) { a.Piece.DoughKg = 0 }, desk.Bad, "how heavy", "--piece-kg"},
		{"mass in grams", func(a *api.StopAsk) { a.Piece.DoughKg = 900 }, desk.Bad, "was 0.9 kg meant?", "--piece-kg"},
		{"negative mass", func(a *api.StopAsk) { a.Piece.DoughKg = -1 }, desk.Bad, "-1 kg", "--piece-kg"},
		{"a share for a percentage", func(a *api.StopAsk) { a.InoculationPct = rise.Known(0.2) }, desk.Bad, "0.2 %", "Did you mean 20 %?"},
		{"percent for a multiple", func(a *api.StopAsk) { a.Target = 85 }, desk.Bad, "target of 85", "Did you mean 1.85?"},
		{"no inoculation", func(a *api.StopAsk) { a.InoculationPct = rise.Num{} }, desk.Bad, "prefermented flour is not known", "--help"},
		{"a week's retard", func(a *api.StopAsk) { a.ColdH = 200 }, desk.Bad, "retard of 200 h", "--help"},
		{"no recipe", func(a *api.StopAsk) { a.Recipe = "rolls" }, desk.Missing, `no recipe "rolls"`, "nightjar recipes add"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			ask := good
			tt.change(&ask)
			_, err := r.Stop(t.Context(), ask)
			refused(t, err, tt.kind, tt.says, tt.remedy)
		})
	}
}
