//go:build slow

package rise

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// published is a published growth curve over thermal time with a prior: normal about mean with sd, in the curve's own
// parameters, from the same ranges as the gas balance's. inverse is the time at which a rise is reached.
type published struct {
	name     string
	curve    func(th float64, b []float64) float64
	inverse  func(y float64, b []float64) (float64, bool)
	mean, sd []float64
}

var publishedModels = []published{
	{
		"modified Gompertz",
		func(th float64, b []float64) float64 {
			return gompertz3(th, []float64{math.Exp(b[0]), math.Exp(b[1]), b[2]})
		},
		func(y float64, b []float64) (float64, bool) {
			return gompertzTime(y, math.Exp(b[0]), math.Exp(b[1]), b[2])
		},
		[]float64{math.Log(1.4), math.Log(0.3), 3.5}, []float64{0.4, 0.5, 2},
	},
	{
		"logistic",
		func(th float64, b []float64) float64 {
			return logistic3(th, []float64{math.Exp(b[0]), math.Exp(b[1]), b[2]})
		},
		func(y float64, b []float64) (float64, bool) {
			return logisticTime(y, math.Exp(b[0]), math.Exp(b[1]), b[2])
		},
		[]float64{math.Log(1.4), math.Log(0.3), 3.5}, []float64{0.4, 0.5, 2},
	},
	{
		// The volume risen for the logarithm of cells, as dough studies take it: y0 + rise from 0 to A at rate mu after h0.
		"Baranyi-Roberts",
		func(th float64, b []float64) float64 {
			return baranyi(th, []float64{0, math.Exp(b[0]), math.Exp(b[1]), math.Exp(b[1]) * b[2]})
		},
		func(y float64, b []float64) (float64, bool) {
			top, mu := math.Exp(b[0]), math.Exp(b[1])
			e := math.Exp(y) * -math.Expm1(-top) / -math.Expm1(y-top)
			return math.Log1p((e-1)*math.Exp(mu*b[2])) / mu, y < top
		},
		[]float64{math.Log(1.4), math.Log(0.3), 3.5}, []float64{0.4, 0.5, 2},
	},
}

// tell fits the model to what is known at reading i by maximum a posteriori, with the same bins and tolerances as the gas
// balance has, and gives the hour of the target; NaN for a target above its ceiling.
func (m published) tell(f *Forecaster, t *trialNight, i int) float64 {
	f.Predict(t.at(i))
	r := &f.run
	n := r.until - r.from
	all := problem(func(k float64, b []float64) float64 {
		j := int(k)
		if j < n {
			return (1 + m.curve(r.thermal[r.from+j], b) - r.multiple[r.from+j]) / r.tolerance[r.from+j]
		}
		return (b[j-n] - m.mean[j-n]) / m.sd[j-n]
	}, indices(n+len(m.mean)), make([]float64, n+len(m.mean)))
	all.iterations = 40
	all.lower, all.upper = []float64{-3, -5, -5}, []float64{3, 2, 40}
	got := f.fitter.fit(all, m.mean)
	at, ok := m.inverse(t.progress.Target-1, got.params)
	if !ok || math.IsNaN(at) {
		return math.NaN()
	}
	return r.now + r.ahead(max(0, at-r.thermalNow))
}

func indices(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i)
	}
	return out
}

// TestModels compares the published curves, all by maximum a posteriori in thermal time, and a blend of the forecast with
// the line through the last hour, with the gas balance: on the tune part, and on the mechanism that was held out.
func TestModels(t *testing.T) {
	for _, p := range []part{tunePart, {"held-out", heldOutPart.first, 30, heldOutPart.mechanisms[1:2]}} {
		var nights []*trialNight
		for _, m := range p.mechanisms {
			nights = append(nights, p.nights(m, 30)...)
		}
		ours := modelErrors(nights, func(f *Forecaster, n *trialNight, at int) float64 {
			return f.Predict(n.at(at)).P50.Or(math.NaN())
		})
		modelRow(p.name, "gas balance", ours)
		blend := modelErrors(nights, func(f *Forecaster, n *trialNight, at int) float64 {
			p50, line := f.Predict(n.at(at)).P50.Or(math.NaN()), lastHour(n, at, nil)
			w := max(0, min(1, (f.run.level-1)/(n.progress.Target-1)-0.7)/0.3) // from 70 % of the rise on
			return (1-w)*p50 + w*line
		})
		modelRow(p.name, "gas balance blended into the line", blend)
		for _, j := range []int{3, 4} {
			assert.LessOrEqual(t, ours[j], blend[j], "a blend does not help at %v", trialShares[j])
		}
		for _, m := range publishedModels {
			theirs := modelErrors(nights, func(f *Forecaster, n *trialNight, at int) float64 { return m.tell(f, n, at) })
			modelRow(p.name, m.name, theirs)
			better := 0.0
			for _, j := range judged {
				better += math.Log(theirs[j] / ours[j])
			}
			assert.Positive(t, better, "%s has the greater error over the three shares", m.name)
		}
	}
}

func modelRow(part, name string, medians [len(trialShares)]float64) {
	fmt.Printf("%-9s %-36s", part, name)
	for _, v := range medians {
		fmt.Printf(" %7.1f", v)
	}
	fmt.Println()
}

// modelErrors is the median absolute error at each share of the rise, min.
func modelErrors(nights []*trialNight, tell func(f *Forecaster, n *trialNight, at int) float64) (out [len(trialShares)]float64) {
	offs := make([][len(trialShares)]float64, len(nights))
	inParallel(len(nights), func(f *Forecaster, i int) {
		for j, at := range nights[i].mark {
			if offs[i][j] = math.NaN(); nights[i].reached && at >= 0 {
				offs[i][j] = math.Inf(1)
				if h := tell(f, nights[i], at); !math.IsNaN(h) {
					offs[i][j] = 60 * math.Abs(h-nights[i].truth)
				}
			}
		}
	})
	for j := range out {
		var os []outcome
		for i := range offs {
			if !math.IsNaN(offs[i][j]) {
				os = append(os, outcome{off: offs[i][j]})
			}
		}
		out[j] = medianFigure(os, offOf)
	}
	return out
}
