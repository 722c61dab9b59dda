package rise

import "math"

// growth is the gas that a dough makes as a function of thermal time, and the rise that comes of it.
//
// The gas is that of yeast that grows until it holds itself back, a logistic curve from −seed to ceiling:
//
//	gas(θ) = (ceiling + seed)/(1 + ceiling/seed·exp(−pace·(θ − lag))) − seed
//
// which is exponential while the gas is little, and straight where seed is large: yeast that does not grow. Of it the
// water takes its share in balance with bubbles in which carbon dioxide is mixed with the air stirred in, by Henry's
// law: a rise of y needs y + dissolved·y/(y + air). All in volumes of the settled dough; pace per thermal hour, lag in
// thermal hours.
type growth struct{ seed, pace, lag, dissolved, air, ceiling float64 }

// The parameters of growth as they are fitted: logarithms, but for the lag. The ceiling comes last, since it is stepped
// through, not fitted.
const (
	atSeed = iota
	atPace
	atLag
	atDissolved
	atAir
	fitted
	atCeiling  = fitted
	parameters = fitted + 1
)

func growthOf(b *[parameters]float64) growth {
	return growth{
		seed: math.Exp(b[atSeed]), pace: math.Exp(b[atPace]), lag: b[atLag],
		dissolved: math.Exp(b[atDissolved]), air: math.Exp(b[atAir]), ceiling: math.Exp(b[atCeiling]),
	}
}

// gas is the gas made until a thermal time; before the lag the curve runs on a little below 0.
func (g growth) gas(thermal float64) float64 {
	return (g.ceiling+g.seed)/(1+g.ceiling/g.seed*math.Exp(-g.pace*(thermal-g.lag))) - g.seed
}

// risen is the rise that an amount of gas makes.
func (g growth) risen(gas float64) float64 {
	if gas <= 0 {
		return gas * g.air / (g.air + g.dissolved)
	}
	b := gas - g.air - g.dissolved
	root := math.Sqrt(b*b + 4*g.air*gas)
	if b < 0 {
		return 2 * g.air * gas / (root - b) // the same without cancellation
	}
	return (b + root) / 2
}

// slopes writes the derivatives of the rise at a thermal time over the fitted parameters, and returns the rise.
func (g growth) slopes(thermal float64, d []float64) float64 {
	e := math.Exp(-g.pace * (thermal - g.lag))
	ratio := g.ceiling / g.seed
	whole := 1 + ratio*e
	top := g.ceiling + g.seed
	gas := top/whole - g.seed
	y := g.risen(gas)
	// The rise per gas, from the inverse; below 0 the rise is straight.
	perGas, withAir := g.air/(g.air+g.dissolved), y/g.air
	if gas > 0 {
		withAir = y / (y + g.air)
		perGas = 1 / (1 + g.dissolved*g.air/((y+g.air)*(y+g.air)))
	}
	bend := top * ratio * e / (whole * whole)
	d[atSeed] = perGas * (g.seed/whole + bend - g.seed)
	d[atPace] = perGas * bend * g.pace * (thermal - g.lag)
	d[atLag] = -perGas * bend * g.pace
	d[atDissolved] = -perGas * g.dissolved * withAir
	d[atAir] = perGas * g.dissolved * withAir * g.air / (max(y, 0) + g.air)
	return y
}

// timeTo is the thermal time at which the rise is y, h; false for a rise that is never reached.
func (g growth) timeTo(y float64) (float64, bool) {
	if !(y > 0) {
		return 0, false
	}
	gas := y + g.dissolved*y/(y+g.air)
	left := (g.ceiling - gas) / (gas + g.seed) * g.seed / g.ceiling
	if !(left > 0) {
		return 0, false
	}
	return g.lag - math.Log(left)/g.pace, true
}
