package rise

import (
	"math"

	"nightjar/sensor/sim/dough"
)

// rival is a rule for the time of reaching the target from what is known at reading i, h; NaN is no answer.
type rival struct {
	name string
	tell func(t *trialNight, i int, past []Summary) float64
}

// The simple rules that a forecast must beat, and the oracle that it cannot.
var rivals = []rival{
	{"line through the last hour", lastHour},
	{"logistic curve in clock time", clockLogistic},
	{"mean of past durations", meanDuration},
}

func lastHour(t *trialNight, i int, _ []Summary) float64 {
	p := t.at(i)
	now, from := p.Hours[i], i
	for from > 0 && p.Hours[from-1] > now-1 {
		from--
	}
	l := lineThrough(i-from+1, func(k int) (x, y, w float64) { return p.Hours[from+k] - now, p.Multiple[from+k], 1 })
	if l.slope <= 0 {
		return math.NaN()
	}
	return now + max(0, (p.Target-l.at0)/l.slope)
}

// clockLogistic fits Zwietering's logistic curve to the readings so far, every tenth of them.
func clockLogistic(t *trialNight, i int, _ []Summary) float64 {
	p := t.at(i)
	var x, y []float64
	for k := i % 10; k <= i; k += 10 {
		x, y = append(x, p.Hours[k]), append(y, p.Multiple[k]-1)
	}
	prob := problem(logistic3, x, y)
	prob.lower, prob.upper = []float64{0.05, 0.01, -2}, []float64{6, 3, 40}
	top := y[len(y)-1]
	best := fitResult{rss: math.Inf(1)}
	for _, a := range []float64{1.2, 2, 4} { // more than one valley
		f := new(fitter)
		if got := f.fit(prob, []float64{max(0.1, a*top), max(0.05, 2*top/(p.Hours[i]+1)), p.Hours[i] / 2}); got.rss < best.rss {
			best = got
		}
	}
	if best.params == nil {
		return math.NaN()
	}
	at, ok := logisticTime(p.Target-1, best.params[0], best.params[1], best.params[2])
	if !ok {
		return math.NaN()
	}
	return max(at, p.Hours[i])
}

func meanDuration(t *trialNight, i int, past []Summary) float64 {
	sum, n := 0.0, 0.0
	for _, s := range past {
		if h, ok := s.TargetHours.Get(); ok {
			sum, n = sum+h, n+1
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return max(sum/n, t.progress.Hours[i])
}

// oracle knows the dough's true parameters, and nothing of the temperature to come but what a forecast expects: no
// forecast can be better but by luck. It has no answer for published curves.
func oracle(t *trialNight, i int, r *history) float64 {
	if t.room == nil || t.params.Mechanism == "" {
		return math.NaN()
	}
	p := t.progress
	d := dough.New(t.params)
	level := func() float64 { return d.LevelMM() }
	base, measuring := level(), 4.0
	now := p.Hours[i]
	for k := 0; d.Hours() < 48; k++ {
		h := d.Hours()
		c := t.params.StartC
		switch {
		case h > now:
			c = r.temp + r.drift*settleHours*-math.Expm1(-(h-now)/settleHours)
		case h >= p.Hours[0]:
			c = p.TempC[min(i, int(math.Round((h-p.Hours[0])/trialEvery.Hours())))].Or(c)
		default:
			c = p.TempC[0].Or(c)
		}
		d.Step(trialEvery, c)
		if d.Hours() < measuring {
			base = min(base, level())
		}
		if d.Hours() > p.Hours[0] && level() >= t.progress.Target*base {
			return max(d.Hours(), now)
		}
	}
	return math.NaN()
}
