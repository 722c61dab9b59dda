package rise

import "math"

// mix is a dough or a fed starter as the gas balance of a usual culture sees it.
type mix struct {
	// inoculation, hydration and salt are % of all flour.
	inoculation, hydration, salt float64
}

// The usual culture, at 25 °C. Its growth lies between wort yeast (0.15-0.20 per hour at 28 °C; Gause 1932, Q. Rev. Biol.
// 7:27, Table 5) and Candida milleri (0.42 at its optimum, from memory); its lag and its gas are what makes a feeding
// of 1:1:1 double after 4½ h and one of 1:5:5 after 8 h (peaks at 4-6 and 8-12 h at 24-26 °C; common practice, no source).
const (
	usualGrowth = 0.32 // 1/h
	usualLag    = 1.0  // h
	usualGas    = 1.0  // l/h from the yeast of a kilogram of ripe starter flour
)

// The body of a dough: 0.85 l/kg after mixing (Gobbetti & Gänzle (eds) 2013, Handbook on Sourdough Biotechnology, Table
// 3.4), 4-10 % of it air (Campbell et al. 1993, Cereal Chem. 70:517, method; numbers from memory), 0.845 l of carbon
// dioxide to the kilogram of water at 25 °C and 100 kPa (CRC Handbook of Chemistry and Physics).
const (
	doughLitres = 0.85
	airShare    = 0.07
	dissolves   = 0.845
)

// saltSlows is the share of the yeast's rate that each per cent of salt takes: 0.85 ± 0.1 are left at 2 % (common
// practice, no source).
const saltSlows = 0.075

// wetSpeeds is the share by which each per cent of water above that of the usual starter, 100 %, speeds it up: wetter dough
// ferments faster (trade press; the size is common practice, no source).
const wetSpeeds = 0.003

// gas is the carbon dioxide, l/kg, that it takes to rise to a multiple: what the bubbles hold, and what is dissolved in
// balance with bubbles in which it is still mixed with air.
func (m mix) gas(multiple float64) float64 {
	y := multiple - 1
	water := m.hydration / (100 + m.hydration + m.salt)
	return doughLitres*y + water*dissolves*y/(y+airShare)
}

// start is the gas that the mix makes at first at 25 °C, l/kg/h, and the rate that salt and water leave of the usual one.
func (m mix) start() (gas, slow float64) {
	slow = max(0.1, (1-saltSlows*m.salt)*(1+wetSpeeds*(min(m.hydration, liquidWeak)-100)))
	return usualGas * slow * m.inoculation / (100 + m.hydration + m.salt), slow
}

// thermal is how long the usual culture takes to a multiple, in hours at 25 °C: yeast that grows exponentially from
// what was seeded, t = λ + ln(1 + μ·G/g0)/μ.
func (m mix) thermal(multiple float64) float64 {
	if multiple <= 1 {
		return 0
	}
	g0, slow := m.start()
	mu := usualGrowth * slow
	return usualLag/slow + math.Log1p(mu*m.gas(multiple)/g0)/mu
}

// multiple is the inverse of thermal.
func (m mix) multiple(thermal float64) float64 {
	lo, hi := 1.0, 20.0
	for range 60 {
		mid := (lo + hi) / 2
		if m.thermal(mid) < thermal {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// UsualHours is how long the usual culture takes from mixing to a multiple, h, at a steady temperature, in a mix of the
// given percentages of all flour. It is infinite where nothing grows.
func UsualHours(inoculationPct, hydrationPct, saltPct, tempC, multiple float64) float64 {
	yeast := SourdoughYeast()
	return mix{inoculationPct, hydrationPct, saltPct}.thermal(multiple) * yeast.Rate(referenceC) / yeast.Rate(tempC)
}
