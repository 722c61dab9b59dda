package dough

import "math"

// yeast makes gas. step advances it by h hours at c °C and returns the gas made, mol per kg dough.
type yeast interface {
	step(h, c float64) float64
	// acid is how far the dough has soured, 0 fresh to about 1 ripe.
	acid() float64
}

const sugarPerMol = 90.0 // g hexose per mol CO2: C6H12O6 gives 2 CO2

// monodYeast grows by Monod's law on one pool of sugar, held back by what it has made (acid and ethanol stand for each
// other) and by the work of its lag. All amounts are per kg dough.
type monodYeast struct {
	law        squareRoot
	grow, gas  float64 // 1/h; mol/h per kg ripe starter flour: both at 25 °C
	cells      float64 // as kg ripe starter flour
	q          float64 // Baranyi's state of readiness: growth runs at q/(1+q)
	sugar      float64 // g
	starch     float64 // maltose still to be set free, g
	release    float64 // 1/h at 25 °C
	made       float64 // mol, seed included
	growMol    float64 // made at which growth ends at up to 28 °C
	fermentMol float64 // made at which gas ends
	soft       float64 // half-saturation, g
}

func newMonodYeast(p Params) *monodYeast {
	flour, _ := p.shares()
	share := p.InoculationPct / 100
	y := &monodYeast{law: newSquareRoot(p.Culture), soft: 1.5}
	y.grow = p.Culture.GrowthPerH * p.medium()
	y.gas = p.Culture.GasLPerKgH / molarLitres * p.medium()
	y.cells = flour * share * p.Vigour
	y.q = 1 / math.Expm1(math.Max(1e-6, p.Culture.LagH0*p.Lag))
	y.sugar = 10 * p.Flour.SugarPct * flour * (1 - 0.7*share)
	y.starch = 10 * 4 * flour * (1 - 0.5*share)
	y.release = p.Flour.MaltosePctH / 4
	// Growth ends after about 4 l, fermentation after about 9 l of gas per kg flour; gas goes on after growth has ended
	// (Gause 1934, Fig. 11: alcohol still rises where the volume of yeast stands still).
	y.growMol = 4.2 / molarLitres * flour * p.Culture.Tolerance
	y.fermentMol = 9.5 / molarLitres * flour * p.Culture.Tolerance
	y.made = 0.6 * share * y.growMol
	return y
}

func (y *monodYeast) step(h, c float64) float64 {
	f, e := y.law.rate(c), endurance(c)
	fed := y.sugar / (y.soft + y.sugar)
	ready := y.q / (1 + y.q)
	// Cells that are still in their lag ferment at a third of their rate.
	gas := y.gas * f * y.cells * fed * room(y.made, y.fermentMol*e) * (1 + 2*ready) / 3 * h
	gas = min(gas, y.sugar/sugarPerMol)
	freed := y.starch * -math.Expm1(-y.release*f*h)
	y.cells += y.cells * y.grow * f * fed * room(y.made, y.growMol*e) * ready * h
	y.q = min(1e6, y.q*(1+y.grow*f*h))
	y.starch -= freed
	y.sugar = max(0, y.sugar+freed-gas*sugarPerMol)
	y.made += gas
	return gas
}

func (y *monodYeast) acid() float64 { return y.made / y.growMol }

// room is what is left of a capacity, 1 when unused and 0 when full.
func room(used, full float64) float64 {
	u := used / full
	return max(0, 1-u*u)
}
