package dough

import "math"

// foam holds gas. step takes in made mol of carbon dioxide per kg dough over h hours at c °C.
type foam interface {
	step(h, c, made, acid float64)
	// litres is the volume of all bubbles per kg dough at the last temperature.
	litres() float64
	balance() Balance
}

// Balance is where the carbon dioxide is, mol per kg dough. Made = Dissolved + Bubbles + Leaked.
type Balance struct{ Made, Dissolved, Bubbles, Leaked float64 }

const liquidLitres = 0.793 // l/kg: gas-free dough of 1.26 kg/l (1.24-1.28; Campbell et al. 1993, Cereal Chem. 70:517, numbers from memory)

// openFoam is one gas phase of air and carbon dioxide. Its walls open by coalescence, the faster the thinner they are
// and the sourer the dough, and what is open leaks. Bubbles in a runny dough rise out of it.
type openFoam struct {
	Balance
	water, air float64 // kg, mol
	open       float64 // share of the gas connected to the outside, 0..1
	strength   float64
	slack      float64 // 1/h: coalescence at the critical gas fraction
	escape     float64 // 1/h: bubbles that rise out of runny dough
	c          float64
}

const (
	transferPerH   = 25.0 // 1/h: carbon dioxide between water and bubbles
	supersaturated = 0.03 // excess over saturation that growing bubbles need for their walls' tension
)

// escapePerH is how fast bubbles rise out, 1/h: nothing to speak of in bread dough, all at once in a batter. Wetter dough
// holds less gas (common practice, no source).
func escapePerH(hydrationPct float64) float64 { return 0.002 * math.Exp((hydrationPct-75)/14) }

// airMol is the air mixed into a kilogram of dough, mol.
func airMol(p Params) float64 {
	f := p.AirPct / 100
	return liquidLitres * f / (1 - f) / gasLitres(1, p.StartC, pressure)
}

func newOpenFoam(p Params) *openFoam {
	_, water := p.shares()
	return &openFoam{
		water: water, air: airMol(p), c: p.StartC, strength: p.Flour.Strength,
		slack: 0.3 * math.Exp((p.HydrationPct-72)/60), escape: escapePerH(p.HydrationPct),
	}
}

func (f *openFoam) litres() float64 { return gasLitres(f.air+f.Bubbles, f.c, pressure) }

func (f *openFoam) balance() Balance { return f.Balance }

func (f *openFoam) step(h, c, made, acid float64) {
	f.c = c
	f.Made += made
	f.Dissolved += made
	f.exchange(h)
	f.leak(h, acid)
}

// exchange moves carbon dioxide between water and bubbles: into them only past supersaturation, back below saturation.
func (f *openFoam) exchange(h float64) {
	all := f.Bubbles + f.air
	soluble := f.water * Solubility(f.c, pressure)
	full := soluble * f.Bubbles / all
	excess := f.Dissolved - full*(1+supersaturated)
	if excess < 0 {
		excess = min(0, f.Dissolved-full)
	}
	// What moves changes both sides: small bubbles are in balance within minutes, and a plain step would overshoot and ring.
	both := 1 + soluble*f.air/(all*all)
	move := max(-f.Bubbles, excess/both*-math.Expm1(-transferPerH*both*h))
	f.Dissolved -= move
	f.Bubbles += move
}

func (f *openFoam) leak(h, acid float64) {
	v := f.litres()
	thin := v / (v + liquidLitres) / (0.66 + 0.06*f.strength)
	cube := thin * thin * thin
	f.open += (1 - f.open) * -math.Expm1(-f.slack/f.strength*cube*cube*cube*(0.5+acid)*h)
	lost := f.Bubbles * -math.Expm1(-(f.escape+0.9*f.open*thin*thin)*h)
	f.Bubbles -= lost
	f.Leaked += lost
}
