package rise

import "math"

// resolutionMM is the step of the rangers' distance registers, mm; fineMM that of a recording's text.
const (
	resolutionMM = 1.0
	fineMM       = 0.01
)

// noise knows how far a reading's level scatters: from its burst's own spread, and, since that may promise too much,
// from how the readings so far did scatter about the smoothed curve.
type noise struct {
	// scale is the observed variance over the promised one.
	scale float64
	// fractional tells that some reading without a spread was no whole number of mm.
	fractional bool
	n          int
}

// Without a spread the scatter begins at guessMM and may be learned down to a fiftieth of its variance.
const (
	guessMM   = 0.3
	leastUnit = 0.02
)

// of is the variance of a reading's level about the true one, mm²: the part that averages out over readings, and the
// part of the rounding that does not, since a still surface is rounded the same way each time.
func (n *noise) of(r Reading, level float64) (white, rounding float64) {
	spread, ok := r.SpreadMM.Get()
	whole := level == math.Trunc(level)
	if !ok || r.Valid < 1 {
		n.fractional = n.fractional || !whole
		return guessMM * guessMM, n.step() * n.step() / 12
	}
	step := resolutionMM
	if spread == 0 && !whole {
		step = fineMM
	}
	rounding = undithered(spread, step)
	floor := step * step / 12
	return math.Max(spread*spread, floor) / float64(r.Valid), rounding
}

// step is the resolution of readings that do not tell their spread, as far as seen.
func (n *noise) step() float64 {
	if n.fractional {
		return fineMM
	}
	return resolutionMM
}

// undithered is the variance of the error that rounding to steps leaves in a mean of many: all of step²/12 for a
// constant, and less by exp(−4π²σ²/step²) for values that scatter by σ on their own (Widrow and Kollár 2008,
// Quantization Noise, the first harmonic of the error of a Gaussian dither).
func undithered(spread, step float64) float64 {
	own := math.Max(spread*spread/(step*step)-1.0/12, 0)
	return step * step / 12 * math.Exp(-4*math.Pi*math.Pi*own)
}

// learn takes how far a reading lay from its prediction: its square, the prediction's variance and the promised one.
func (n *noise) learn(d2, predicted, promised float64, spreadKnown bool) {
	if promised <= 0 {
		return
	}
	ratio := min(max((d2-predicted)/promised, 0), 16*n.factor(spreadKnown))
	n.n++
	weight := 1 / float64(min(n.n+4, 50))
	n.scale = n.factor(spreadKnown) + weight*(ratio-n.factor(spreadKnown))
}

// factor is the scale to apply; a burst's own spread is never thought too large.
func (n *noise) factor(spreadKnown bool) float64 {
	if n.n == 0 {
		return 1
	}
	least := leastUnit
	if spreadKnown {
		least = 1
	}
	return min(max(n.scale, least), 400)
}
