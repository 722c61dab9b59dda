package rise

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The published curves that the gas balance is compared with: b is A, mu, lambda, shape (Zwietering et al. 1990, Appl.
// Environ. Microbiol. 56:1875; gompertz3 and logistic3 stand with the fits).
func richards(x float64, b []float64) float64 {
	a, mu, lag, v := b[0], b[1], b[2], b[3]
	return a * math.Pow(1+v*math.Exp(1+v)*math.Exp(mu/a*math.Pow(1+v, 1+1/v)*(lag-x)), -1/v)
}

// baranyi is the model of Baranyi and Roberts (1994, Int. J. Food Microbiol. 23:277) in natural logarithms: b is y0,
// ymax, mu, h0.
func baranyi(x float64, b []float64) float64 {
	y0, top, mu, h0 := b[0], b[1], b[2], b[3]
	a := x + math.Log(math.Exp(-mu*x)+math.Exp(-h0)-math.Exp(-mu*x-h0))/mu
	return y0 + mu*a - math.Log1p(math.Expm1(mu*a)/math.Exp(top-y0))
}

// gompertzTime and logisticTime are the times at which a level is reached; false for a level that never is.
func gompertzTime(y, a, mu, lag float64) (float64, bool) {
	return lag + a/(mu*math.E)*(1-math.Log(-math.Log(y/a))), y > 0 && y < a
}

func logisticTime(y, a, mu, lag float64) (float64, bool) {
	return lag + a/(4*mu)*(2-math.Log(a/y-1)), y > 0 && y < a
}

// TestCurves_Zwietering checks the forms and their inverses against values found by numeric root finding.
func TestCurves_Zwietering(t *testing.T) {
	for _, row := range table(t, "sigmoid_values") {
		a, mu, lag, x := number(t, row["A"]), number(t, row["mu"]), number(t, row["lambda"]), number(t, row["t"])
		var at func(x float64) float64
		switch row["model"] {
		case "gompertz":
			at = func(x float64) float64 { return gompertz3(x, []float64{a, mu, lag}) }
		case "logistic":
			at = func(x float64) float64 { return logistic3(x, []float64{a, mu, lag}) }
		default:
			at = func(x float64) float64 { return richards(x, []float64{a, mu, lag, number(t, row["nu"])}) }
		}
		assert.InDelta(t, number(t, row["y"]), at(x), 1e-6)
		assert.InDelta(t, number(t, row["dydt"]), (at(x+1e-5)-at(x-1e-5))/2e-5, 1e-6)
		assert.InDelta(t, a/2, at(number(t, row["t_half"])), 1e-6)
		assert.InDelta(t, 0.9*a, at(number(t, row["t_90"])), 1e-6)
		inverse := map[string]func(y, a, mu, lag float64) (float64, bool){"gompertz": gompertzTime, "logistic": logisticTime}[row["model"]]
		if inverse == nil {
			continue
		}
		for share, col := range map[float64]string{0.5: "t_half", 0.9: "t_90"} {
			got, ok := inverse(share*a, a, mu, lag)
			assert.True(t, ok)
			assert.InDelta(t, number(t, row[col]), got, 1e-6)
		}
		_, ok := inverse(a, a, mu, lag)
		assert.False(t, ok, "never")
	}
}

// TestCurves_Baranyi checks against values that an integration of its differential equations confirmed.
func TestCurves_Baranyi(t *testing.T) {
	d := columns(t, "baranyi_values", "y0", "ymax", "mu", "h0", "t", "y")
	for i := range d[0] {
		got := baranyi(d[4][i], []float64{d[0][i], d[1][i], d[2][i], d[3][i]})
		assert.InDelta(t, d[5][i], got, 1e-6)
	}
}
