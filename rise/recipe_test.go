package rise_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// published reads a CSV file of published values, without its header.
func published(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open("../testdata/reference/" + name)
	require.NoError(t, err)
	defer func() { assert.NoError(t, f.Close()) }()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	return rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// example is one worked example: its inputs by name.
type example map[string]float64

func inputs(t *testing.T, s string) example {
	t.Helper()
	in := example{}
	for _, pair := range strings.Split(s, ";") {
		name, value, ok := strings.Cut(pair, "=")
		require.True(t, ok, s)
		in[name] = number(t, value)
	}
	return in
}

func (in example) recipe() rise.Recipe {
	r := rise.Recipe{Ingredients: []rise.Ingredient{
		{Name: "flour", Part: rise.PartFlour, G: in["flour"]},
		{Name: "water", Part: rise.PartWater, G: in["water"]},
	}}
	if in["starter"] > 0 {
		r.Ingredients = append(r.Ingredients, rise.Ingredient{Name: "starter", Part: rise.PartStarter, G: in["starter"], HydrationPct: rise.Known(in["starter_hydration_pct"])})
	}
	return r
}

func celsius(f float64) float64    { return (f - 32) * 5 / 9 }
func fahrenheit(c float64) float64 { return c*9/5 + 32 }

// Worked examples of bakers, papers and course notes; each row of the file names its own source.
func TestPublishedBakersArithmetic(t *testing.T) {
	for _, row := range published(t, "bakers_math_checks.csv") {
		in, want := inputs(t, row[1]), number(t, row[3])
		t.Run(row[0], func(t *testing.T) {
			assert.InDelta(t, want, answer(t, row[2], in), 1e-4*want, row[4])
		})
	}
}

func answer(t *testing.T, output string, in example) float64 {
	t.Helper()
	switch output {
	case "flour_g", "flour":
		return rise.FlourFor(in["dough_total"], in["total_pct"])
	case "starter_flour_g":
		flour, _ := rise.StarterParts(in["starter"], in["starter_hydration_pct"])
		return flour
	case "water_f":
		temps := []float64{celsius(in["flour_f"]), celsius(in["room_f"])}
		if c, ok := in["preferment_f"]; ok {
			temps = append(temps, celsius(c))
		}
		return fahrenheit(rise.WaterC(celsius(in["ddt_f"]), rise.FrictionFromF(in["friction_f"]), temps...))
	case "dough_yield":
		return rise.Feeding{FlourG: in["flour"], WaterG: in["water"]}.DoughYield(100)
	case "prefermented_pct":
		preferment := 2 * in["preferment_flour"]
		r := example{"flour": in["total_flour"] - in["preferment_flour"], "water": 400, "starter": preferment, "starter_hydration_pct": 100}.recipe()
		f, err := r.Formula()
		require.NoError(t, err)
		return f.InoculationPct
	}
	f, err := in.recipe().Formula()
	require.NoError(t, err)
	return f.HydrationPct
}

func plain() rise.Recipe {
	return rise.Recipe{Name: "Tin loaf", Ingredients: []rise.Ingredient{
		{Name: "wheat 1050", Part: rise.PartFlour, G: 400},
		{Name: "rye", Part: rise.PartFlour, G: 50},
		{Name: "water", Part: rise.PartWater, G: 300},
		{Name: "salt", Part: rise.PartSalt, G: 9},
		{Name: "starter", Part: rise.PartStarter, G: 100},
	}}
}

func TestFormulaCountsTheStartersOwn(t *testing.T) {
	f, err := plain().Formula()
	require.NoError(t, err)
	assert.InDelta(t, 859, f.DoughG, 1e-9)
	assert.InDelta(t, 500, f.FlourG, 1e-9)
	assert.InDelta(t, 70, f.HydrationPct, 1e-9)
	assert.InDelta(t, 66.6667, f.AddedHydrationPct, 1e-3)
	assert.InDelta(t, 10, f.InoculationPct, 1e-9)
	assert.InDelta(t, 22.2222, f.StarterPct, 1e-3)
	assert.InDelta(t, 1.8, f.SaltPct, 1e-9)
	assert.InDelta(t, 170, f.DoughYield, 1e-9)
	assert.InDelta(t, 88.8889, f.Percentages[0], 1e-3)
	assert.Empty(t, f.PerishableCaution())
	assert.Empty(t, plain().Hints())
}

func TestMilkAndEggCountTheirWaterAndTheRule(t *testing.T) {
	r := plain()
	r.Ingredients = append(r.Ingredients, rise.Ingredient{Name: "whole milk", Part: rise.PartOther, G: 100, WaterPct: rise.Known(87)},
		rise.Ingredient{Name: "Eggs", Part: rise.PartOther, G: 50}, rise.Ingredient{Name: "milk powder", Part: rise.PartOther, G: 10})
	f, err := r.Formula()
	require.NoError(t, err)
	assert.InDelta(t, 87.4, f.HydrationPct, 1e-9)
	assert.Equal(t, []string{"whole milk", "Eggs"}, f.Perishable)
	assert.Contains(t, f.PerishableCaution(), "USDA FSIS")
}

func TestScaleKeepsTheFormula(t *testing.T) {
	r, err := plain().Scale(1718)
	require.NoError(t, err)
	assert.InDelta(t, 800, r.Ingredients[0].G, 1e-9)
	f, err := r.Formula()
	require.NoError(t, err)
	assert.InDelta(t, 70, f.HydrationPct, 1e-9)
	assert.InDelta(t, 400, plain().Ingredients[0].G, 0, "the original stays")
	_, err = plain().Scale(0)
	assert.ErrorContains(t, err, "above 0")
}

func TestRecipesThatCannotBe(t *testing.T) {
	for want, spoil := range map[string]func(*rise.Recipe){
		"wheat 1050: -4 g":        func(r *rise.Recipe) { r.Ingredients[0].G = -4 },
		"ingredient 3: 0 g":       func(r *rise.Recipe) { r.Ingredients[2] = rise.Ingredient{Part: rise.PartWater} },
		"water: NaN g":            func(r *rise.Recipe) { r.Ingredients[2].G = math.NaN() },
		"there is no flour":       func(r *rise.Recipe) { r.Ingredients = r.Ingredients[2:] },
		"is unknown":              func(r *rise.Recipe) { r.Ingredients[1].Part = "grain" },
		"cannot be a dough's":     func(r *rise.Recipe) { r.Ingredients[2].G = 3000 },
		"stops a starter":         func(r *rise.Recipe) { r.Ingredients[3].G = 90 },
		"does not add up":         func(r *rise.Recipe) { r.DoughG = rise.Known(800) },
		"starter: hydration of 5": func(r *rise.Recipe) { r.Ingredients[4].HydrationPct = rise.Known(5) },
		"only a starter":          func(r *rise.Recipe) { r.Ingredients[0].HydrationPct = rise.Known(60) },
		"target ×0.8 cannot be":   func(r *rise.Recipe) { r.Target = rise.Known(0.8) },
		"dough temperature 78 °C": func(r *rise.Recipe) { r.DoughC = rise.Known(78) },
		"water of 120 % cannot be": func(r *rise.Recipe) {
			r.Ingredients[2] = rise.Ingredient{Part: rise.PartOther, G: 10, WaterPct: rise.Known(120)}
		},
	} {
		r := plain()
		spoil(&r)
		_, err := r.Formula()
		assert.ErrorContains(t, err, want)
		assert.Empty(t, r.Hints())
	}
}

func TestHintsAtSlips(t *testing.T) {
	r := plain()
	r.Ingredients[3].G = 0.9
	assert.Contains(t, r.Hints(), "salt is 0.18 % of the flour, usual is 1 to 3: is that a slip?")
	r.Ingredients = r.Ingredients[:3]
	assert.Contains(t, r.Hints()[0], "no salt")
	assert.Equal(t, "inoculation of 0.2 % is unusual: was 20 % meant?", rise.SlipPct("inoculation", 0.2, 2, 45))
	assert.Equal(t, "inoculation of 2000 % is unusual: was 20 % meant?", rise.SlipPct("inoculation", 2000, 2, 45))
	assert.Empty(t, rise.SlipPct("inoculation", 12, 2, 45))
}

func TestRecipeKeepsItsFormInJSON(t *testing.T) {
	r := plain()
	r.Ingredients[4].HydrationPct = rise.Known(60)
	b, err := json.Marshal(r)
	require.NoError(t, err)
	var back rise.Recipe
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, r, back)
}

// In °C the course note's example (3·75 − 65 − 65 − 8 = 87 °F) has the friction of 8 °F as 4.44 K, not as −13.3 °C.
func TestFrictionIsADifference(t *testing.T) {
	assert.InDelta(t, 4.4444, float64(rise.FrictionFromF(8)), 1e-4)
	assert.InDelta(t, 8*5.0/9, float64(rise.FrictionOf(celsius(75), celsius(87), celsius(65), celsius(65))), 1e-9)
}

// By hand: 500 g flour at 20 °C and 350 g water give 0.9·20 + 1.463·T = 2.363·25 without mixing heat: T = 28.08 °C.
func TestHeatBalanceByHand(t *testing.T) {
	b := rise.Batch{FlourG: 500, FlourC: 20, WaterG: 350}
	c, err := b.WaterByHeat(25)
	require.NoError(t, err)
	assert.InDelta(t, 28.076, c, 1e-3)
	warmed := b
	warmed.MixingK = 2
	less, err := warmed.WaterByHeat(25)
	require.NoError(t, err)
	assert.InDelta(t, c-2*(500*1.8+350*4.18)/(350*4.18), less, 1e-9)
	_, err = rise.Batch{FlourG: 500}.WaterByHeat(25)
	assert.ErrorContains(t, err, "above 0")
}

// The heat that the water gives in cooling from 20 to 6 °C is what the ice takes in melting and warming to 6 °C.
func TestIce(t *testing.T) {
	ice := rise.Ice(500, 20, 6)
	assert.InDelta(t, (500-ice)*(20-6), ice*(79.8+6), 5, "heat given equals heat taken")
	assert.Zero(t, rise.Ice(500, 15, 20))
	assert.Equal(t, "replace 70 g of the water by ice", rise.WaterAdvice(2, 387, 20))
	assert.Contains(t, rise.WaterAdvice(52, 500, 20), "harm")
	assert.Contains(t, rise.WaterAdvice(-90, 500, 20), "cool the flour")
	assert.Equal(t, "water of 27 °C", rise.WaterAdvice(27, 500, 20))
}

// Whatever bytes stand for a recipe, its formula is numbers or an error.
func FuzzRecipe(f *testing.F) {
	good, err := json.Marshal(plain())
	require.NoError(f, err)
	f.Add(good)
	f.Add([]byte(`{"ingredients":[{"part":"flour","g":1e308},{"part":"flour","g":1e308},{"part":"water","g":1e308},{"part":"water","g":1e308}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		var r rise.Recipe
		if json.Unmarshal(b, &r) != nil {
			return
		}
		r.Hints()
		form, err := r.Formula()
		if err != nil {
			return
		}
		_, err = json.Marshal(form)
		require.NoError(t, err, "%+v", form)
		_, err = r.Scale(1000)
		require.NoError(t, err)
	})
}
