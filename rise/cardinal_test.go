package rise

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestCardinal_Documented checks against values printed in the documentation of the R package macrogrow, and our own
// evaluation of the formula for other organisms.
func TestCardinal_Documented(t *testing.T) {
	documented := 0
	for _, row := range table(t, "ctmi_values") {
		c := Cardinal{number(t, row["tmin_c"]), number(t, row["topt_c"]), number(t, row["tmax_c"])}
		at := number(t, row["t_c"])
		assert.InDelta(t, number(t, row["formula_relative_rate"]), c.Rate(at), 1e-9, "%v at %v", c, at)
		if row["origin"] == "documented" {
			documented++
			assert.InDelta(t, number(t, row["documented_relative_rate"]), c.Rate(at), 1e-7, "%v at %v", c, at)
		}
	}
	assert.GreaterOrEqual(t, documented, 30)
}

// TestCardinal_SpokenSummary compares with Gänzle's own spoken summary of the growth of sourdough yeast, rounded speech
// in a newsgroup's list of questions: half speed at 20 and 32 °C, a quarter at 14 °C.
func TestCardinal_SpokenSummary(t *testing.T) {
	humilis := Cardinal{8, 27, 36}
	for _, row := range table(t, "gaenzle_summary_rates") {
		if row["organism"] == "yeast" {
			assert.InDelta(t, number(t, row["relative_rate"]), humilis.Rate(number(t, row["t_c"])), 0.2)
		}
	}
}

func TestCardinal_Rate_neverOutsideItsRange(t *testing.T) {
	yeast := SourdoughYeast()
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -40, 4, 42, 100} {
		assert.Zero(t, yeast.Rate(v))
	}
	assert.InDelta(t, 1, yeast.Rate(yeast.OptC), 1e-12)
	assert.Zero(t, Cardinal{MinC: math.NaN()}.Rate(20))
	for c := 4.0; c < 42; c += 0.1 {
		r := yeast.Rate(c)
		assert.True(t, r >= 0 && r <= 1)
	}
}

// TestCardinal_Refrigerator repeats the hours of rise still to come in a refrigerator at 4 °C, by Simpson's rule: a
// model without a lower limit would promise hours more.
func TestCardinal_Refrigerator(t *testing.T) {
	models := map[string]Cardinal{"ctmi_2.8_32.3_45.4": {2.8, 32.3, 45.4}, "ctmi_8_27_35.9": {8, 27, 35.9}}
	checked := 0
	for _, row := range table(t, "cooling_equivalent_hours") {
		c, ok := models[row["rate_model"]]
		if !ok {
			continue
		}
		checked++
		t0, te, tau := number(t, row["t0_c"]), number(t, row["fridge_c"]), number(t, row["tau_h"])
		sum, hours := 0.0, 0.0
		const steps = 24_000
		for i := range steps {
			hours = (float64(i) + 0.5) * 24 / steps
			sum += c.Rate(te+(t0-te)*math.Exp(-hours/tau)) / c.Rate(t0) * 24 / steps
			if i == steps/2-1 {
				assert.InDelta(t, number(t, row["equivalent_hours_at_t0_after_12h"]), sum, 2e-3)
			}
		}
		assert.InDelta(t, number(t, row["equivalent_hours_at_t0_after_24h"]), sum, 2e-3)
	}
	assert.Equal(t, 10, checked)
}
