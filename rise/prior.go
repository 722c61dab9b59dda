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
	if !p.InoculationPct.IsKnown() {
		q.sd[atSeed] = math.Hypot(q.sd[atSeed], shareSD)
	}
	for k := range q.mean {
		q.pool(p, k)
	}
	return q
}

// The prefermented flour of a dough and of a starter fed 1:1:1, % of all flour, where it is not known.
const doughShare, fedShare = 15.0, 100.0 / 3

// shareSD is the standard deviation of the logarithm of an inoculation that nobody told: 6-25 % (common practice, no source).
const shareSD = 0.4

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

// pool moves parameter k towards the mean of the past runs: each weighs 1/within² against 1/sd² of the usual prior. The
// new run scatters about that mean as they do.
func (q *prior) pool(p Progress, k int) {
	sum, own, n := 0.0, 0.0, 0
	for _, s := range p.Past {
		if v, ok := pastValue(s, p, k); ok {
			w := 1 / scatterOf(k, s.Run.InoculationPct, p.InoculationPct)
			sum, own, n = sum+w*v, own+w, n+1
		}
	}
	if n == 0 {
		return
	}
	q.past = n
	usual := 1 / (q.sd[k] * q.sd[k])
	q.mean[k] = (q.mean[k]*usual + sum) / (usual + own)
	q.sd[k] = min(q.sd[k], math.Sqrt(scatterOf(k, p.InoculationPct)+1/(usual+own)))
}

// scatterOf is the variance of a run's parameter k about its starter's mean; an inoculation that is not known adds to the
// seed's.
func scatterOf(k int, inoculations ...Num) float64 {
	v := withinSD[k] * withinSD[k]
	for _, pct := range inoculations {
		if k == atSeed && !pct.IsKnown() {
			return v + shareSD*shareSD
		}
	}
	return v
}

// leastPeak is the multiple that a past run must have seen to teach anything: one that hardly rose, or was given up, holds
// little but the prior it began with.
const leastPeak = 1.3

// pastValue is a past run's parameter k. The seed is brought to this run's inoculation; where either is not known they are
// taken to be alike.
func pastValue(s Summary, p Progress, k int) (float64, bool) {
	if len(s.Growth) != parameters || kindOf(s.Run.Kind) != kindOf(p.Kind) || s.PeakMultiple.Or(leastPeak) < leastPeak {
		return 0, false
	}
	v := s.Growth[k]
	if past := s.Run.InoculationPct; k == atSeed && past.IsKnown() && p.InoculationPct.IsKnown() {
		v += shareShift(p) - shareShift(Progress{Kind: p.Kind, InoculationPct: past})
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
