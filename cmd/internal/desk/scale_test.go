package desk_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/desk"
	"nightjar/rise"
)

func TestARecipeIsScaledAndStaysAsItIs(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	_, err := r.AddRecipe(rise.Recipe{Name: "country", Ingredients: []rise.Ingredient{
		{Name: "flour", Part: rise.PartFlour, G: 450}, {Name: "water", Part: rise.PartWater, G: 300},
		{Name: "starter", Part: rise.PartStarter, G: 100}, {Name: "salt", Part: rise.PartSalt, G: 10},
	}})
	require.NoError(t, err)
	big, err := r.Scale("country", 1720)
	require.NoError(t, err)
	assert.InDelta(t, 900, big.Ingredients[0].G, 1e-9)
	assert.InDelta(t, 70, big.Formula.HydrationPct, 1e-9)
	kept, err := r.Recipe("country")
	require.NoError(t, err)
	assert.InDelta(t, 450, kept.Ingredients[0].G, 1e-9)
	_, err = r.Scale("country", 0)
	refused(t, err, desk.Bad, "0 g cannot be", "--dough-g")

	w, err := r.Water("country", api.WaterAsk{DoughG: rise.Known(1720), DoughC: rise.Known(25), FlourC: 20, StarterC: rise.Known(25)})
	require.NoError(t, err)
	assert.InDelta(t, 600, w.WaterG, 1e-9)
	// 900 g of flour to be warmed by 5 K at 1.8 kJ/kg/K by 600 g of water at 4.18: 3.2 K above the dough's 25 °C.
	assert.InDelta(t, 25+900*1.8*5/(600*4.18), w.WaterC, 0.01)
	_, err = r.Water("country", api.WaterAsk{FlourC: 20})
	refused(t, err, desk.Bad, "how warm", "--dough-c")
	_, err = r.Water("country", api.WaterAsk{DoughC: rise.Known(25), FlourC: 68})
	refused(t, err, desk.Bad, "68 °C", "Did you mean 20.0 °C?")
}
