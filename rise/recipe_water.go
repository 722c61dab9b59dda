package rise

import (
	"fmt"
	"math"
)

// WaterC is the water temperature, °C, that gives a dough of doughC by the bakers' rule: as many times doughC as there
// are temperatures to be balanced (flour, room and, where there is one, preferment; the water itself counts as well),
// less those and less the friction of mixing. It ignores masses; WaterByHeat does not.
func WaterC(doughC float64, friction Friction, temps ...float64) float64 {
	w := doughC * float64(len(temps)+1)
	for _, c := range temps {
		w -= c
	}
	return w - float64(friction)
}

// Friction is the bakers' friction factor in kelvin: the warming by mixing, times the count of temperatures balanced. It
// is a difference.
type Friction float64

// FrictionFromF converts a friction factor given in °F: by 5/9, and never less 32, since it is a difference.
func FrictionFromF(f float64) Friction { return Friction(f * 5 / 9) }

// FrictionOf finds the friction factor of a mixer and a recipe from a dough once mixed: from the dough's temperature, the
// water's, and the others that were balanced, °C.
func FrictionOf(doughC, waterC float64, temps ...float64) Friction {
	return Friction(WaterC(doughC, 0, temps...) - waterC)
}

// The specific heats of a heat balance, kJ/kg/K: flour and dough from memory, within the 2.6-2.9 that tables give for
// dough at 43-46 % water (Rask 1989, J. Food Eng. 9:167); water is a handbook's.
const (
	heatFlour = 1.8
	heatWater = 4.18
	heatDough = 2.7
)

// Batch is what is mixed, g and °C: the flour and the water still to be added, the preferment if any, and how much the
// mixing itself warms the dough, K.
type Batch struct {
	FlourG, FlourC     float64
	WaterG             float64
	StarterG, StarterC float64
	MixingK            float64
}

// WaterByHeat is the water temperature, °C, that brings the batch to doughC by a balance of heat: Σ m·c·T over its parts
// before mixing, and the warming by mixing, equal that of the dough after it.
func (b Batch) WaterByHeat(doughC float64) (float64, error) {
	if !(b.FlourG > 0 && b.WaterG > 0 && b.StarterG >= 0) {
		return 0, fmt.Errorf("flour of %g g, water of %g g and starter of %g g cannot be balanced: flour and water must be above 0", b.FlourG, b.WaterG, b.StarterG)
	}
	flour, water, starter := b.FlourG*heatFlour, b.WaterG*heatWater, b.StarterG*heatDough
	c := ((flour+water+starter)*(doughC-b.MixingK) - flour*b.FlourC - starter*b.StarterC) / water
	if math.IsNaN(c) || math.IsInf(c, 0) {
		return 0, fmt.Errorf("a temperature is no number")
	}
	return c, nil
}

// Ice is how much of waterG grams must be ice to bring tap water of tapC to waterC, which may be below 0 where flour and
// room are too warm for water alone. Melting takes as much heat as cooling the same water by 79.8 K (333.6 kJ/kg).
func Ice(waterG, tapC, waterC float64) float64 {
	const meltingK = 333.6 / heatWater
	return min(waterG, max(0, waterG*(tapC-waterC)/(tapC+meltingK)))
}

// WaterAdvice says in words what to do with a water temperature, °C, given that of the tap.
func WaterAdvice(waterC, waterG, tapC float64) string {
	switch ice := Ice(waterG, tapC, waterC); {
	case waterC > 45:
		return fmt.Sprintf("%.0f °C would harm the starter: take water of 40 °C and let the dough warm in a warmer place", waterC)
	case ice >= waterG:
		return "even ice alone is not cold enough: cool the flour as well"
	case waterC < 4 && ice >= 1:
		return fmt.Sprintf("replace %.0f g of the water by ice", ice)
	}
	return fmt.Sprintf("water of %.0f °C", waterC)
}
