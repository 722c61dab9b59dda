package rise

import "math"

// Vigour is how fast a culture is: its rate of growth over that of the usual culture, brought to 25 °C and to the same
// feeding. 1 is a culture that doubles about 4½ h after a feeding of 1:1:1 at 25 °C; 0.5 takes twice as long.
type Vigour struct {
	// Ratio is unknown where the curve does not tell.
	Ratio Num `json:"ratio,omitzero"`
	// U is the relative standard uncertainty of Ratio.
	U Num `json:"u,omitzero"`
	// Why says why Ratio is unknown, or why it is weak evidence; empty if neither.
	Why string `json:"why,omitempty"`
}

// The relative standard uncertainties of one feeding's vigour. A yeast test under a laboratory's conditions repeats to
// 5-15 % (AACC 89-01, collaborative study of 1997): one jar cannot do better.
const (
	vigourRun      = 0.08  // one feeding to the next
	vigourPerK     = 0.015 // the temperature law, per kelvin apart: so far do S. cerevisiae and K. humilis differ at 18 °C against 25 °C
	vigourHotPerK  = 0.025 // the same, per kelvin above 26 °C: optima lie anywhere from 27 to 33 °C
	vigourPerRatio = 0.04  // the feeding's law, per factor e of inoculation from 1:1:1
)

// The hydrations, % of flour, above which a rise says little and nothing: what is liquid lets its gas go (common
// practice, no source).
const (
	liquidWeak = 125
	liquidNone = 200
)

// VigourOf is the vigour that a feeding's curve shows. inoculationPct, hydrationPct and saltPct describe the mix.
func VigourOf(s Milestones, inoculationPct, hydrationPct, saltPct float64) Vigour {
	if hydrationPct > liquidNone {
		return Vigour{Why: "too liquid to hold its gas: its rise says nothing of its strength"}
	}
	m := mix{inoculationPct, hydrationPct, saltPct}
	if !(inoculationPct > 0 && inoculationPct <= 100 && hydrationPct > 0 && saltPct >= 0) {
		return Vigour{Why: "the feeding is not known"}
	}
	sum, weights := 0.0, 0.0
	for j, level := range MilestoneLevels {
		h, ok := s.ThermalH[j].Get()
		if !ok || h <= 0 {
			continue
		}
		sum += levelWeight[j] * math.Log(m.thermal(level)/h)
		weights += levelWeight[j]
	}
	if weights == 0 {
		return Vigour{Why: "it did not rise by a quarter while its temperature was known"}
	}
	v := Vigour{Ratio: Known(math.Exp(sum / weights)), U: Known(vigourU(s, inoculationPct))}
	if hydrationPct > liquidWeak {
		v.Why = "weak evidence: liquid starters hold their gas badly"
	}
	return v
}

// levelWeight counts the times to the lower levels less: they are short, and settling and lag are a large part of them.
var levelWeight = [len(MilestoneLevels)]float64{0.4, 0.8, 1, 1}

func vigourU(s Milestones, inoculationPct float64) float64 {
	c := s.MeanC.Or(referenceC)
	return math.Hypot(vigourRun, lawU(c, referenceC, inoculationPct, usualInoculation))
}

// usualInoculation is a feeding of 1:1:1, in % of prefermented flour.
const usualInoculation = 100.0 / 3

// lawU is the relative uncertainty of a vigour at one temperature and inoculation against another.
func lawU(c1, c2, p1, p2 float64) float64 {
	law := vigourPerK*math.Abs(c1-c2) + vigourHotPerK*math.Abs(max(0, c1-26)-max(0, c2-26))
	return math.Hypot(law, vigourPerRatio*math.Abs(math.Log(p1/p2)))
}
