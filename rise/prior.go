package rise

import "math"

// prior is what is known of a run's growth before it rises: independent normal distributions of the parameters of
// growth.
type prior struct{ mean, sd [3]float64 }

// newPrior is the prior of a run: from published ranges, moved towards the same starter's past runs.
//
// Ranges: a dough with 10-20 % prefermented flour at 21-25 °C rises by 0.8-2 at 0.1-0.35 per hour after 2-5 h, a starter
// fed 1:1:1 by 1-2 at 0.3-0.8 per hour after 0.5-2 h (orders of magnitude put together from Romano et al. 2007, J. Food
// Eng. 83:142; Raffak et al. 2023, Appl. Sci. 13:12453; Alpers et al. 2023, PLoS ONE, doi 10.1371/journal.pone.0282670).
func newPrior(p Progress) prior {
	out := prior{
		mean: [3]float64{math.Log(1.4), math.Log(0.3), 3},
		sd:   [3]float64{0.4, 0.6, 2},
	}
	if p.Kind == RunStarter {
		out.mean = [3]float64{math.Log(1.5), math.Log(0.5), 1.2}
	}
	out.mean[2] += lagShift(p.InoculationPct)
	for j := range out.mean {
		out.pool(p, j)
	}
	return out
}

// lagShift is how much later the rise sets in than with 15 % prefermented flour, thermal h: ln(ratio)/μ for yeast that
// grows at μ = 0.3 per hour. The lag seen in a rise moves with the inoculation as an optical one does, while the cells'
// own does not (doi 10.1155/2015/365025, Tables 2, 3 and 8).
func lagShift(inoculation Num) float64 {
	const usual, mu = 15.0, 0.3
	pct, ok := inoculation.Get()
	if !ok || pct <= 0 {
		return 0
	}
	return math.Log(usual/min(max(pct, 0.1), 100)) / mu
}

// within is how far a starter's own runs scatter about their mean, in the terms of the parameters (common practice, no
// source: three equal feeds within 10-15 % count as stable).
var within = [3]float64{0.15, 0.2, 0.8}

// pool moves parameter j towards the past runs' mean: with sd the spread between starters and within that of one
// starter's runs, n runs weigh n/within² against 1/sd².
func (q *prior) pool(p Progress, j int) {
	sum, n := 0.0, 0.0
	for _, s := range p.Past {
		if len(s.Growth) != len(q.mean) || s.Run.Kind != p.Kind && p.Kind != "" {
			continue
		}
		v := s.Growth[j]
		if j == 2 {
			v += lagShift(p.InoculationPct) - lagShift(s.Run.InoculationPct)
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		sum, n = sum+v, n+1
	}
	if n == 0 {
		return
	}
	between, own := 1/(q.sd[j]*q.sd[j]), n/(within[j]*within[j])
	q.mean[j] = (q.mean[j]*between + sum/n*own) / (between + own)
	q.sd[j] = math.Sqrt(1/(between+own) + within[j]*within[j])
}
