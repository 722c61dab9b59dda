package rise

import (
	"fmt"
	"math"
)

// Speed is how fast a starter's doughs are held to be: the ratio to the usual culture's, and whence it is known.
type Speed struct {
	Ratio float64 `json:"ratio"`
	// U is the relative standard uncertainty for one dough to come, DF the degrees of freedom it rests on.
	U  float64 `json:"u"`
	DF float64 `json:"df"`
	// MeanC and InoculationPct are where it was seen: further from there it is less certain.
	MeanC          float64 `json:"mean_c"`
	InoculationPct float64 `json:"inoculation_pct"`
	// From says in words what it rests on.
	From string `json:"from"`
}

// The relative standard deviations of the times of doughs: between starters (one of two gave twice the gas; Hou & Hsu
// 2013, Food Biosci. 3:75), between a starter's feedings and its doughs, and from one dough to the next (common
// practice, no source).
const (
	speedBetween = 0.30
	speedFed     = 0.12
	speedDough   = 0.055
)

// UsualSpeed is that of a starter of which nothing is known: published ranges.
func UsualSpeed() Speed {
	return Speed{Ratio: 1, U: math.Hypot(speedBetween, speedDough), DF: 30, MeanC: referenceC - 3, InoculationPct: 15, From: "published ranges, since nothing is known of this starter yet"}
}

// SpeedOf is a starter's speed by its past doughs and its feedings, either of which may be empty.
func SpeedOf(doughs []Summary, feedings []FeedingRun) Speed {
	prior, sd := UsualSpeed(), speedBetween
	mean := 0.0
	if v, ok := VigourMean(lastOf(Like(feedings), 3)).Value.Get(); ok {
		mean, sd = math.Log(v), speedFed
		prior.From = "this starter's last " + counted(min(3, len(Like(feedings))), "feeding")
		prior.Ratio, prior.U = v, math.Hypot(sd, speedDough)
	}
	seen := readSpeeds(doughs)
	n := float64(len(seen.ln))
	if n == 0 {
		return prior
	}
	const worth = 8 // degrees of freedom of the usual scatter
	df := worth + n - 1
	scatter := (worth*speedDough*speedDough + seen.squares) / df
	between, own := 1/(sd*sd), n/scatter
	post := (mean*between + seen.mean*own) / (between + own)
	return Speed{
		Ratio: math.Exp(post), U: math.Sqrt(scatter + 1/(between+own)), DF: df,
		MeanC: seen.tempC, InoculationPct: math.Exp(seen.lnInoc),
		From: "this starter's " + counted(len(seen.ln), "past dough"),
	}
}

// counted is a number of things: "1 feeding", "3 feedings".
func counted(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

func lastOf[T any](s []T, n int) []T { return s[max(0, len(s)-n):] }

// speeds are what past doughs show.
type speeds struct {
	ln                           []float64
	mean, squares, tempC, lnInoc float64
}

func readSpeeds(doughs []Summary) speeds {
	var s speeds
	yeast := SourdoughYeast()
	for _, d := range doughs {
		hours, known := d.TargetHours.Get()
		c, warm := d.MeanC.Get()
		m, mixed := mixOf(d.Run)
		rate := yeast.Rate(c) / yeast.Rate(referenceC)
		if d.Run.Kind == RunStarter || !known || !warm || !mixed || hours <= 0 || rate <= 0 || d.Run.Target <= 1 {
			continue
		}
		s.ln = append(s.ln, math.Log(m.thermal(d.Run.Target)/(hours*rate)))
		s.tempC, s.lnInoc = s.tempC+c, s.lnInoc+math.Log(m.inoculation)
	}
	n := float64(len(s.ln))
	if n == 0 {
		return s
	}
	s.tempC, s.lnInoc = s.tempC/n, s.lnInoc/n
	for _, v := range s.ln {
		s.mean += v / n
	}
	for _, v := range s.ln {
		s.squares += (v - s.mean) * (v - s.mean)
	}
	return s
}

// mixOf is a run's mix; false without its inoculation. Hydration and salt are taken as usual where unknown.
func mixOf(r Run) (mix, bool) {
	p, ok := r.InoculationPct.Get()
	return mix{p, r.HydrationPct.Or(usualHydration), r.SaltPct.Or(usualSalt)}, ok && p > 0 && p <= 100
}

// A dough whose recipe is not known: % of flour.
const usualHydration, usualSalt = 70, 2

// at is the speed's uncertainty and its quantile for a dough at another temperature and inoculation.
func (s Speed) at(tempC, inoculationPct, roomU float64) (u, t float64) {
	yeast := SourdoughYeast()
	slope := (math.Log(max(1e-3, yeast.Rate(tempC+0.5))) - math.Log(max(1e-3, yeast.Rate(tempC-0.5)))) * roomU
	law := lawU(tempC, s.MeanC, inoculationPct, s.InoculationPct)
	return math.Sqrt(s.U*s.U + law*law + slope*slope), student(max(4, s.DF))
}
