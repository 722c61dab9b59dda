package dough

import "math"

// twoSugarYeast takes the flour's free sugars first and learns to take maltose while it does. Its growth is what its
// fermentation yields, and ends with a nutrient; lactic bacteria beside it sour the dough. All amounts are per kg dough.
type twoSugarYeast struct {
	law      arrhenius
	sour     arrhenius
	take     float64 // mol CO2/h per kg ripe starter flour at 25 °C
	yield    float64 // cells per mol
	cells    float64
	awake    float64 // share of the cells that are active
	wakePerH float64
	free     float64 // free sugars, g
	maltose  float64 // g
	starch   float64 // g
	release  float64 // 1/h
	learned  float64 // readiness for maltose, 0..1
	nutrient float64 // cells that it still allows
	need     float64 // half-saturation of the nutrient
	bacteria float64 // souring power, 1 in a ripe starter
	acidity  float64
	bear     float64 // acidity that halves fermentation
}

func newTwoSugarYeast(p Params) *twoSugarYeast {
	flour, _ := p.shares()
	share := p.InoculationPct / 100
	m := p.medium()
	y := &twoSugarYeast{law: newArrhenius(p.Culture)}
	y.sour = newArrhenius(Culture{MinC: 4, OptC: 32.5, MaxC: 41}) // F. sanfranciscensis: Gänzle et al. 1998, as summarised by Gänzle
	y.take = p.Culture.GasLPerKgH / molarLitres * m
	y.yield = p.Culture.GrowthPerH * m / y.take
	y.cells = flour * share * p.Vigour
	y.awake = math.Exp(-p.Culture.LagH0 * p.Lag)
	y.wakePerH = 0.9 * p.Culture.GrowthPerH
	y.free = 10 * p.Flour.SugarPct * flour * (1 - 0.8*share)
	y.maltose = 2 * flour
	y.starch = 45 * flour
	y.release = p.Flour.MaltosePctH / 4.5
	y.learned = 0.25
	y.nutrient = flour * (1.7*p.Culture.Tolerance - 0.6*share)
	y.need = 0.3 * flour
	y.bacteria = share
	y.acidity = 0.7 * share
	y.bear = 1.5 * p.Culture.Tolerance
	return y
}

func (y *twoSugarYeast) step(h, c float64) float64 {
	f := y.law.rate(c)
	u := y.acidity / (y.bear * endurance(c))
	base := y.take * f * y.cells * y.awake / (1 + u*u*u) * h
	fast := min(base*y.free/(1.2+y.free), y.free/sugarPerMol)
	held := 1 / (1 + y.free/4) // free sugar holds maltose back
	slow := min(base*y.learned*held*y.maltose/(2+y.maltose), y.maltose/sugarPerMol)
	y.feed(h, f, fast, slow)
	y.souring(h, c)
	return fast + slow
}

// feed books what fast and slow mol of gas from free sugar and maltose cost and yield.
func (y *twoSugarYeast) feed(h, f, fast, slow float64) {
	born := y.yield * (fast + slow) * y.nutrient / (y.need + y.nutrient) * 1.15
	born = min(born, y.nutrient)
	freed := y.starch * -math.Expm1(-y.release*f*h)
	y.cells += born
	y.nutrient -= born
	y.starch -= freed
	y.free = max(0, y.free-fast*sugarPerMol)
	y.maltose = max(0, y.maltose+freed-slow*sugarPerMol)
	y.awake += (1 - y.awake) * -math.Expm1(-y.wakePerH*f*h)
	y.learned += (1 - y.learned) * -math.Expm1(-0.35*f*h)
}

func (y *twoSugarYeast) souring(h, c float64) {
	f := y.sour.rate(c)
	y.acidity += 0.16 * f * y.bacteria * h
	y.bacteria += 0.3 * f * y.bacteria * max(0, 1.3-y.acidity) * h
}

func (y *twoSugarYeast) acid() float64 { return y.acidity }
