package rise

import "math"

// prior is what is known of a run's growth before it rises: independent normal distributions of the parameters.
type prior struct {
	mean, sd [parameters]float64
	// past is how many past runs it was learned from.
	past int
}

// usual is the prior of a dough with 15 % prefermented flour from a starter that is not known, at 25 °C, as medians
// with standard deviations of the logarithm (the lag: mean and standard deviation).
//
//   - seed: such a dough makes 0.03-0.3 l of gas per kilogram and hour at first, and yeast grows at 0.3-0.4 per hour.
//     Starters differ by a factor of 2 (Hou & Hsu 2013, Food Biosci. 3:75).
//   - pace: wort yeast at 28 °C 0.15-0.20 per hour (Gause 1932, Q. Rev. Biol. 7:27, Table 5), Kazachstania humilis 0.42 at
//     its optimum (from memory).
//   - lag: cells' own lag, 0-2.5 h; the lag seen in the rise is mostly gas that dissolves.
//   - dissolved: 0.85 l of carbon dioxide to the kilogram of water (CRC Handbook), 0.42 kg of water to 0.85 l of dough
//     (Gobbetti & Gänzle (eds) 2013, Handbook on Sourdough Biotechnology, Table 3.4).
//   - air: 4-10 % of the volume after mixing (Campbell et al. 1993, Cereal Chem. 70:517; numbers from memory).
//   - ceiling: doughs rise by 0.8-2 (orders of magnitude after Romano et al. 2007, J. Food Eng. 83:142, and Raffak et al.
//     2023, Appl. Sci. 13:12453) on top of what dissolves and what leaks; gas goes on after growth slows.
var (
	usualMean = [parameters]float64{atSeed: math.Log(0.3), atPace: math.Log(0.4), atLag: 0.8, atDissolved: math.Log(0.42), atAir: math.Log(0.06), atCeiling: math.Log(3.5)}
	usualSD   = [parameters]float64{atSeed: 0.6, atPace: 0.3, atLag: 0.8, atDissolved: 0.3, atAir: 0.8, atCeiling: 0.6}
)

// withinSD is how far one starter's runs scatter about their own mean, in the same terms: three equal feeds within 10-15 %
// count as stable (common practice, no source).
var withinSD = [parameters]float64{atSeed: 0.25, atPace: 0.12, atLag: 0.4, atDissolved: 0.15, atAir: 0.6, atCeiling: 0.3}

// newPrior is the prior of a run: the usual one, moved towards the same starter's past runs.
func newPrior(p Progress) prior {
	q := prior{mean: usualMean, sd: usualSD}
	if p.Kind == RunStarter {
		q.mean[atSeed] += math.Log(fedShare / doughShare)
	}
	q.mean[atSeed] += shareShift(p)
	for k := range q.mean {
		q.pool(p, k)
	}
	return q
}

// The prefermented flour of a dough and of a starter fed 1:1:1, % of all flour, where it is not known.
const doughShare, fedShare = 15.0, 100.0 / 3

// shareShift is the logarithm of the seed for a known inoculation against the usual one: what was seeded is in proportion.
func shareShift(p Progress) float64 {
	usual := doughShare
	if p.Kind == RunStarter {
		usual = fedShare
	}
	pct, ok := p.InoculationPct.Get()
	if !ok || !(pct > 0) {
		return 0
	}
	return math.Log(min(max(pct, 0.1), 100) / usual)
}

// pool moves parameter k towards the mean of the past runs: n of them weigh n/within² against 1/sd² of the usual prior.
// The new run scatters about that mean as they do.
func (q *prior) pool(p Progress, k int) {
	sum, n := 0.0, 0.0
	for _, s := range p.Past {
		v, ok := pastValue(s, p, k)
		if ok {
			sum, n = sum+v, n+1
		}
	}
	if n == 0 {
		return
	}
	q.past = int(n)
	usual, own := 1/(q.sd[k]*q.sd[k]), n/(withinSD[k]*withinSD[k])
	q.mean[k] = (q.mean[k]*usual + sum/n*own) / (usual + own)
	q.sd[k] = min(q.sd[k], math.Hypot(withinSD[k], 1/math.Sqrt(usual+own)))
}

// pastValue is a past run's parameter k, brought to this run's inoculation.
func pastValue(s Summary, p Progress, k int) (float64, bool) {
	if len(s.Growth) != parameters || kindOf(s.Run.Kind) != kindOf(p.Kind) {
		return 0, false
	}
	v := s.Growth[k]
	if k == atSeed {
		v += shareShift(p) - shareShift(Progress{Kind: p.Kind, InoculationPct: s.Run.InoculationPct})
	}
	return v, math.Abs(v) < 100
}

// kindOf takes an empty kind for a dough.
func kindOf(k RunKind) RunKind {
	if k == RunStarter {
		return k
	}
	return RunDough
}
