package desk

import (
	"fmt"
	"math"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Scale is a recipe for another mass of dough, g.
func (d *Desk) Scale(name string, doughG float64) (api.RecipeShown, error) {
	r, err := d.Recipe(name)
	if err != nil {
		return r, err
	}
	scaled, err := r.Scale(doughG)
	if err != nil {
		return r, bad(err, "give the mass of dough in grams, such as --dough-g 1800")
	}
	return showRecipe(scaled, r.Version)
}

// The temperatures of flour, room, starter and tap that a kitchen can have, and how much mixing warms a dough.
var (
	kitchenTemp = quantity{what: "temperature", low: -20, high: 45, unit: "°C"}
	mixing      = quantity{what: "warming by mixing", low: 0, high: 15, unit: "K"}
)

// Water is the water temperature that brings a recipe's dough to a wanted temperature, by a balance of heat over its
// masses.
func (d *Desk) Water(name string, ask api.WaterAsk) (api.WaterShown, error) {
	r, err := d.Recipe(name)
	if err != nil {
		return api.WaterShown{}, err
	}
	if g, ok := ask.DoughG.Get(); ok {
		if r, err = d.Scale(name, g); err != nil {
			return api.WaterShown{}, err
		}
	}
	want := ask.DoughC.Or(r.DoughC.Or(math.NaN()))
	if math.IsNaN(want) {
		return api.WaterShown{}, &Error{Kind: Bad, Msg: "how warm is the dough to be?", Remedy: "give it with --dough-c, such as --dough-c 25"}
	}
	for _, c := range []float64{want, ask.FlourC, ask.StarterC.Or(ask.FlourC), ask.TapC.Or(15)} {
		if err := kitchenTemp.check(c); err != nil {
			return api.WaterShown{}, err
		}
	}
	if err := mixing.check(ask.MixingK); err != nil {
		return api.WaterShown{}, err
	}
	return water(r.Recipe, want, ask)
}

// water balances what the recipe adds: all flour and all water but the starter's, and the starter.
func water(r rise.Recipe, want float64, ask api.WaterAsk) (api.WaterShown, error) {
	b := rise.Batch{FlourC: ask.FlourC, StarterC: ask.StarterC.Or(ask.FlourC), MixingK: ask.MixingK}
	for _, i := range r.Ingredients {
		switch i.Part {
		case rise.PartFlour:
			b.FlourG += i.G
		case rise.PartWater:
			b.WaterG += i.G
		case rise.PartStarter:
			b.StarterG += i.G
		}
	}
	c, err := b.WaterByHeat(want)
	if err != nil {
		return api.WaterShown{}, bad(err, "the recipe needs water of its own")
	}
	tap := ask.TapC.Or(15)
	out := api.WaterShown{WaterG: b.WaterG, WaterC: c, IceG: rise.Ice(b.WaterG, tap, c), Text: rise.WaterAdvice(c, b.WaterG, tap)}
	if c >= 4 && out.IceG >= 1 {
		out.Text += fmt.Sprintf(", or from the tap at %.0f °C with %.0f g of it as ice", tap, out.IceG)
	}
	return out, nil
}
