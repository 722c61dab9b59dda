package rise

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rModel is a model of ref_fits_r.csv with a start for its search.
type rModel struct {
	curve curve
	start func(x, y []float64) []float64
}

// gompertz4 and logistic4 are the forms of Zwietering et al. (1990) above a start level: y0, A, mu, lambda.
func gompertz4(x float64, b []float64) float64 { return b[0] + gompertz3(x, b[1:]) }
func logistic4(x float64, b []float64) float64 { return b[0] + logistic3(x, b[1:]) }
func gompertz3(x float64, b []float64) float64 {
	return b[0] * math.Exp(-math.Exp(b[1]*math.E/b[0]*(b[2]-x)+1))
}
func logistic3(x float64, b []float64) float64 { return b[0] / (1 + math.Exp(4*b[1]/b[0]*(b[2]-x)+2)) }
func baranyiLog(x float64, b []float64) float64 {
	y0, ym, mu, lag := b[0], b[1], b[2], b[3]
	return ym + math.Log10((-1+math.Exp(mu*lag)+math.Exp(mu*x))/(math.Exp(mu*x)-1+math.Exp(mu*lag)*math.Pow(10, ym-y0)))
}

// ends returns the least and greatest of v.
func ends(v []float64) (lo, hi float64) {
	lo, hi = v[0], v[0]
	for _, w := range v {
		lo, hi = min(lo, w), max(hi, w)
	}
	return lo, hi
}

// sigmoidStart is a crude start for y0, A, mu, lambda: the ends, and twice the mean slope.
func sigmoidStart(x, y []float64) []float64 {
	lo, hi := ends(y)
	from, to := ends(x)
	return []float64{lo, hi - lo, 2 * (hi - lo) / (to - from), from + (to-from)/10}
}

func baranyiStart(x, y []float64) []float64 {
	s := sigmoidStart(x, y)
	_, hi := ends(y)
	from, to := ends(x)
	return []float64{s[0], hi, s[2] * math.Ln10, from + (to-from)/4}
}

var rModels = map[string]rModel{
	"Asym/(1+exp((xmid-x)/scal))": {
		func(x float64, b []float64) float64 { return b[0] / (1 + math.Exp((b[1]-x)/b[2])) },
		func(x, y []float64) []float64 {
			_, y1 := ends(y)
			_, x1 := ends(x)
			return []float64{y1 * 1.2, x1 / 2, x1 / 4}
		}},
	"A+(B-A)/(1+exp((xmid-x)/scal))": {
		func(x float64, b []float64) float64 { return b[0] + (b[1]-b[0])/(1+math.Exp((b[2]-x)/b[3])) },
		func(x, y []float64) []float64 {
			y0, y1 := ends(y)
			_, x1 := ends(x)
			return []float64{y0, y1 * 1.2, x1 / 2, x1 / 4}
		}},
	"Asym/(1+exp((xmid-log(x))/scal))": {
		func(x float64, b []float64) float64 { return b[0] / (1 + math.Exp((b[1]-math.Log(x))/b[2])) },
		func(x, y []float64) []float64 { _, y1 := ends(y); return []float64{y1 * 1.2, 1, 1} }},
	"Asym*exp(-b2*b3^log(x))": {
		func(x float64, b []float64) float64 { return b[0] * math.Exp(-b[1]*math.Pow(b[2], math.Log(x))) },
		func(x, y []float64) []float64 { _, y1 := ends(y); return []float64{y1 * 2, 2, 0.6} }},
	"y0+A*exp(-exp(mu*e/A*(lam-x)+1))":                                          {gompertz4, sigmoidStart},
	"y0+A/(1+exp(4*mu/A*(lam-x)+2))":                                            {logistic4, sigmoidStart},
	"ym+log10((-1+exp(mu*lam)+exp(mu*x))/(exp(mu*x)-1+exp(mu*lam)*10^(ym-y0)))": {baranyiLog, baranyiStart},
	"A*exp(-exp(mu*e/A*(lam-x)+1))":                                             {gompertz3, func(x, y []float64) []float64 { return sigmoidStart(x, y)[1:] }},
	"A/(1+exp(4*mu/A*(lam-x)+2))":                                               {logistic3, func(x, y []float64) []float64 { return sigmoidStart(x, y)[1:] }},
	"sqrt(CTMI(t_c;Tmin,Topt,Tmax,mo))": {
		func(x float64, b []float64) float64 {
			return math.Sqrt(b[3] * Cardinal{MinC: b[0], OptC: b[1], MaxC: b[2]}.Rate(x))
		},
		func(x, y []float64) []float64 { return []float64{4, 38, 49, 1.5} }},
}

// rData loads the data set of a row of ref_fits_r.csv.
func rData(t *testing.T, name string) (x, y []float64) {
	if file, id, ok := strings.Cut(name, ":"); ok {
		for _, row := range table(t, file) {
			if row["id"] == id {
				x, y = append(x, number(t, row["time_h"])), append(y, number(t, row["co2_g_per_l"]))
			}
		}
		return x, y
	}
	cols := []string{"x", "y"}
	if name == "ctmi_fit_ecoli" {
		cols = []string{"t_c", "sqrt_mu"}
	}
	c := columns(t, name, cols...)
	return c[0], c[1]
}

// TestFit_RReference repeats fits made with R 4.2.2 (nls, and nlsLM of minpack.lm 1.2-3). nls stops within about 1e-5
// of a standard error of the minimum, which is all that ChickWeight's hardly determined ceiling can be held to.
func TestFit_RReference(t *testing.T) {
	type key struct{ dataset, model string }
	fits := map[key][]map[string]string{}
	for _, row := range table(t, "ref_fits_r") {
		k := key{row["dataset"], row["model"]}
		fits[k] = append(fits[k], row)
	}
	for k, rows := range fits {
		t.Run(k.dataset+"/"+k.model, func(t *testing.T) {
			x, y := rData(t, k.dataset)
			m, ok := rModels[k.model]
			require.True(t, ok, "a model for it")
			got := new(fitter).fit(problem(m.curve, x, y), m.start(x, y))
			require.Equal(t, fitConverged, got.status)
			assert.InEpsilon(t, number(t, rows[0]["rss"]), got.rss, 1e-6, "sum of squares")
			for i, row := range rows {
				se, known := got.se(i, got.residualSD()).Get()
				require.True(t, known)
				want := number(t, row["estimate"])
				assert.InDelta(t, want, got.params[i], max(1e-5*math.Abs(want), 3e-5*se), row["param"])
				assert.InEpsilon(t, number(t, row["se"]), se, 1e-4, "se of %s", row["param"])
			}
		})
	}
}

// TestFit_TimeToLevel checks the time at which a fitted curve reaches a level, and its standard error by the delta
// method, against R.
func TestFit_TimeToLevel(t *testing.T) {
	inverse := map[string]func(level float64, b []float64) float64{
		"gompertz4": func(l float64, b []float64) float64 {
			return b[3] + b[1]/(b[2]*math.E)*(1-math.Log(-math.Log((l-b[0])/b[1])))
		},
		"logistic4": func(l float64, b []float64) float64 { return b[3] + b[1]/(4*b[2])*(2-math.Log(b[1]/(l-b[0])-1)) },
	}
	curves := map[string]curve{"gompertz4": gompertz4, "logistic4": logistic4}
	for _, row := range table(t, "ref_time_to_level_r") {
		x, y := rData(t, row["dataset"])
		inv, level := inverse[row["model"]], number(t, row["level_y"])
		got := new(fitter).fit(problem(curves[row["model"]], x, y), sigmoidStart(x, y))
		require.Equal(t, fitConverged, got.status)
		grad := gradient(func(b []float64) float64 { return inv(level, b) }, got.params)
		v, known := got.variance(grad).Get()
		require.True(t, known)
		assert.InEpsilon(t, number(t, row["time_x"]), inv(level, got.params), 1e-4)
		assert.InEpsilon(t, number(t, row["se_delta"]), got.residualSD()*math.Sqrt(v), 1e-3)
	}
}

// gradient is the gradient of f at b by central differences.
func gradient(f func([]float64) float64, b []float64) []float64 {
	g, p := make([]float64, len(b)), append([]float64(nil), b...)
	for i := range b {
		h := 1e-6 * max(math.Abs(b[i]), 1e-6)
		p[i] = b[i] + h
		hi := f(p)
		p[i] = b[i] - h
		g[i] = (hi - f(p)) / (2 * h)
		p[i] = b[i]
	}
	return g
}

// TestFit_Gause fits the logistic curves of yeast volume of Gause (1932, Q. Rev. Biol. 7:27-46, Table 5).
func TestFit_Gause(t *testing.T) {
	x, y := map[string][]float64{}, map[string][]float64{}
	for _, row := range table(t, "gause1932_yeast_temperature") {
		id := row["id"]
		x[id], y[id] = append(x[id], number(t, row["time_h"])), append(y[id], number(t, row["yeast_volume"]))
	}
	logistic := func(t float64, b []float64) float64 { return b[0] / (1 + math.Exp(b[1]-b[2]*t)) }
	for _, row := range table(t, "gause1932_logistic_fits") {
		t.Run(row["id"], func(t *testing.T) {
			xs, ys := x[row["id"]], y[row["id"]]
			_, top := ends(ys)
			_, last := ends(xs)
			got := new(fitter).fit(problem(logistic, xs, ys), []float64{top, 4, 8 / last})
			require.Equal(t, fitConverged, got.status)
			for i, col := range []string{"K", "a", "r_per_h"} {
				se := got.se(i, got.residualSD()).Or(0)
				assert.InDelta(t, number(t, row[col]), got.params[i], max(1e-4*got.params[i], 3e-4*se), col)
			}
			assert.InEpsilon(t, number(t, row["resid_sd"]), got.residualSD(), 1e-6)
			for i, col := range map[int]string{0: "K_se", 2: "r_se"} {
				assert.InEpsilon(t, number(t, row[col]), got.se(i, got.residualSD()).Or(0), 1e-3, col)
			}
		})
	}
}

// TestFit_GasCurves: on both published gas curves the modified Gompertz form beats the logistic one.
func TestFit_GasCurves(t *testing.T) {
	for _, id := range []string{"yeast_A", "yeast_B"} {
		x, y := rData(t, "gas_curve_wine_co2:"+id)
		start := sigmoidStart(x, y)[1:]
		g := new(fitter).fit(problem(gompertz3, x, y), start)
		l := new(fitter).fit(problem(logistic3, x, y), start)
		require.Equal(t, fitConverged, g.status)
		require.Equal(t, fitConverged, l.status)
		assert.Less(t, g.rss, l.rss, id)
	}
}

// TestFit_ThermometerLine repeats JCGM 100:2008, H.3: the line of the correction over temperature, and its value and
// standard uncertainty at 30 °C. The further digits are R's.
func TestFit_ThermometerLine(t *testing.T) {
	d := columns(t, "gum_h3_thermometer", "t_k_c", "b_k_c")
	line := func(x float64, b []float64) float64 { return b[0] + b[1]*(x-20) }
	got := new(fitter).fit(problem(line, d[0], d[1]), []float64{0, 0})
	require.Equal(t, fitConverged, got.status)
	s := got.residualSD()
	assert.InEpsilon(t, -0.17120379013, got.params[0], 1e-9)
	assert.InEpsilon(t, 0.00218269774, got.params[1], 1e-8)
	assert.InEpsilon(t, 0.0028775978, got.se(0, s).Or(0), 1e-7)
	assert.InEpsilon(t, 0.00066793877, got.se(1, s).Or(0), 1e-7)
	assert.InEpsilon(t, 0.0034975640, s, 1e-7)
	assert.InEpsilon(t, -0.93042960, got.cov[1]/math.Sqrt(got.cov[0]*got.cov[3]), 1e-7)
	assert.InEpsilon(t, -0.1493768127, line(30, got.params), 1e-8)
	assert.InEpsilon(t, 0.0041385958, s*math.Sqrt(got.variance([]float64{1, 10}).Or(0)), 1e-7)
	assert.Equal(t, 9, got.df)
}

// TestFit_SaysHowItEnded: each end of a fit is told apart, and none brings numbers that are not finite.
func TestFit_SaysHowItEnded(t *testing.T) {
	x := []float64{0, 1, 2, 3}
	product := func(x float64, b []float64) float64 { return b[0] * b[1] * x }
	power := func(x float64, b []float64) float64 { return b[0] * x }
	y := []float64{0, 2, 4, 6}
	bounded := problem(power, x, y)
	bounded.lower, bounded.upper = []float64{0}, []float64{1.5}
	rough := problem(func(x float64, b []float64) float64 { return math.Log(b[0]) }, x, y)
	cases := []struct {
		name  string
		prob  fitProblem
		start []float64
		want  fitStatus
	}{
		{"the data do not tell the two apart", problem(product, x, y), []float64{1, 1}, fitFlat},
		{"held at its upper bound", bounded, []float64{1}, fitAtBound},
		{"start outside the bounds", bounded, []float64{-7}, fitAtBound},
		{"one point for two parameters", problem(product, x[:1], y[:1]), []float64{1, 1}, fitTooFew},
		{"start without a finite residual", rough, []float64{-1}, fitStopped},
		{"exact data", problem(power, x, y), []float64{1}, fitConverged},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got := new(fitter).fit(c.prob, c.start)
			assert.Equal(t, c.want, got.status)
			for i, p := range got.params {
				assert.False(t, math.IsNaN(p) || math.IsInf(p, 0))
				assert.Equal(t, c.want == fitConverged, got.se(i, 1).IsKnown(), "a standard error")
			}
		})
	}
}
