package rise

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"
)

// FeedingRun is a starter run that is over.
type FeedingRun struct {
	Run     int       `json:"run"`
	Started time.Time `json:"started"`
	Feeding Feeding   `json:"feeding"`
	// InoculationPct and HydrationPct are of the mix, % of all flour.
	InoculationPct float64    `json:"inoculation_pct"`
	HydrationPct   float64    `json:"hydration_pct"`
	Milestones     Milestones `json:"milestones"`
	Vigour         Vigour     `json:"vigour"`
}

// NewFeedingRun puts a feeding of a starter and what its curve showed together.
func NewFeedingRun(s Starter, run int, started time.Time, f Feeding, m Milestones) FeedingRun {
	if len(f.Flours) == 0 {
		f.Flours = s.Flours
	}
	out := FeedingRun{Run: run, Started: started, Feeding: f, Milestones: m}
	out.InoculationPct = f.InoculationPct(s.HydrationPct)
	out.HydrationPct = f.HydrationPct(s.HydrationPct)
	out.Vigour = VigourOf(m, out.InoculationPct, out.HydrationPct, 0)
	return out
}

// How alike flour and water must be for two feedings to be compared (common practice, no source).
const (
	likeHydration = 15.0 // percentage points
	likeFlours    = 0.3  // of all flour
)

// like reports whether the two feedings can be compared.
func (r FeedingRun) like(o FeedingRun) bool {
	if math.Abs(r.HydrationPct-o.HydrationPct) > likeHydration {
		return false
	}
	if len(r.Feeding.Flours) == 0 || len(o.Feeding.Flours) == 0 {
		return true
	}
	names := slices.Collect(maps.Keys(r.Feeding.Flours))
	names = slices.AppendSeq(names, maps.Keys(o.Feeding.Flours))
	slices.Sort(names)
	moved := 0.0
	for _, n := range slices.Compact(names) {
		moved += math.Abs(r.Feeding.Flours[n] - o.Feeding.Flours[n])
	}
	return moved/2 <= likeFlours
}

// Like returns the runs that can be compared with the newest one, oldest first. The slice given is not changed.
func Like(runs []FeedingRun) []FeedingRun {
	all := slices.Clone(runs)
	slices.SortStableFunc(all, func(a, b FeedingRun) int { return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.Run, b.Run)) })
	if len(all) == 0 {
		return nil
	}
	newest := all[len(all)-1]
	return slices.DeleteFunc(all, func(r FeedingRun) bool { return !r.like(newest) })
}

// Interval is a value with its 80 % interval.
type Interval struct {
	Value Num `json:"value"`
	Lo    Num `json:"p10"`
	Hi    Num `json:"p90"`
}

// pool is the mean of some feedings' vigours.
type pool struct {
	n             int
	mean          float64 // of ln vigour
	squares       float64 // Σ of squared deviations
	tempC, lnInoc float64 // means
}

func poolOf(runs []FeedingRun) pool {
	var p pool
	var vs []float64
	for _, r := range runs {
		v, ok := r.Vigour.Ratio.Get()
		if !ok {
			continue
		}
		vs = append(vs, math.Log(v))
		p.tempC += r.Milestones.MeanC.Or(referenceC)
		p.lnInoc += math.Log(r.InoculationPct)
	}
	p.n = len(vs)
	if p.n == 0 {
		return p
	}
	n := float64(p.n)
	p.tempC, p.lnInoc = p.tempC/n, p.lnInoc/n
	for _, v := range vs {
		p.mean += v / n
	}
	for _, v := range vs {
		p.squares += (v - p.mean) * (v - p.mean)
	}
	return p
}

// scatterDF is how many degrees of freedom the published scatter of one feeding to the next is worth beside those seen.
const scatterDF = 6

// z80 is the standard normal distribution's 90 % quantile.
const z80 = 1.2815515655446004

// student is the 90 % quantile of Student's t with df degrees of freedom, to 0.01 for df above 5 (the first term of its
// series in 1/df; Abramowitz & Stegun 26.7.5).
func student(df float64) float64 { return z80 + (z80*z80*z80+z80)/(4*df) }

// lnInterval is exp of a mean with its standard uncertainty.
func lnInterval(mean, u, t float64) Interval {
	return Interval{Value: Known(math.Exp(mean)), Lo: Known(math.Exp(mean - t*u)), Hi: Known(math.Exp(mean + t*u))}
}

// VigourMean is the vigour over some feedings with its 80 % interval; unknown without any.
func VigourMean(runs []FeedingRun) Interval {
	p := poolOf(runs)
	if p.n == 0 {
		return Interval{}
	}
	df := float64(scatterDF + p.n - 1)
	scatter := (scatterDF*vigourRun*vigourRun + p.squares) / df
	u := math.Hypot(math.Sqrt(scatter/float64(p.n)), lawU(p.tempC, referenceC, math.Exp(p.lnInoc), usualInoculation))
	return lnInterval(p.mean, u, student(df))
}

// VigourRatio is how much faster the culture of a is than that of b, with its 80 % interval. What the laws of
// temperature and feeding get wrong cancels where both were fed alike.
func VigourRatio(a, b []FeedingRun) Interval {
	p, q := poolOf(a), poolOf(b)
	if p.n == 0 || q.n == 0 {
		return Interval{}
	}
	df := float64(scatterDF + p.n + q.n - 2)
	scatter := (scatterDF*vigourRun*vigourRun + p.squares + q.squares) / df
	u := math.Sqrt(scatter * (1/float64(p.n) + 1/float64(q.n)))
	u = math.Hypot(u, lawU(p.tempC, q.tempC, math.Exp(p.lnInoc), math.Exp(q.lnInoc)))
	return lnInterval(p.mean-q.mean, u, student(df))
}

// VigourTrend is by which factor the vigour changes from one feeding to the next, over the newest eight, with its 80 %
// interval; unknown with fewer than three.
func VigourTrend(runs []FeedingRun) Interval {
	var x, y []float64
	for _, r := range runs[max(0, len(runs)-8):] {
		if v, ok := r.Vigour.Ratio.Get(); ok {
			x, y = append(x, float64(len(x))), append(y, math.Log(v))
		}
	}
	if len(x) < 3 {
		return Interval{}
	}
	slope, mx, my := line(x, y)
	var sxx, rss float64
	for i := range x {
		e := y[i] - my - slope*(x[i]-mx)
		sxx, rss = sxx+(x[i]-mx)*(x[i]-mx), rss+e*e
	}
	df := float64(scatterDF + len(x) - 2)
	return lnInterval(slope, math.Sqrt((scatterDF*vigourRun*vigourRun+rss)/df/sxx), student(df))
}
