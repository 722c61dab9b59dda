package rise

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Grade is what a starter is fit for, as far as its rise can tell.
type Grade string

// The grades.
const (
	GradeStrong   Grade = "strong"
	GradeUsable   Grade = "usable"
	GradeWeak     Grade = "weak"
	GradeUnsteady Grade = "not yet steady"
	// GradeNone is no verdict: there is nothing to judge by.
	GradeNone Grade = "no verdict"
)

// Rules are the limits of the verdict on a starter. All are common practice without a source but the first: staff
// answers of a large miller have a starter ready when it doubles within 6 to 8 h. A zero field takes its default.
type Rules struct {
	// StrongH and UsableH are the times to double, h, after a feeding of 1:1:1 at AtC °C; 6, 8 and 22.
	StrongH float64 `json:"strong_h,omitempty"`
	UsableH float64 `json:"usable_h,omitempty"`
	AtC     float64 `json:"at_c,omitempty"`
	// SteadyPct is how far three feedings in a row may differ from their mean; 15.
	SteadyPct float64 `json:"steady_pct,omitempty"`
	// Days is the age below which a starter is never called strong: an early burst can be gas-forming bacteria; 14.
	Days float64 `json:"days,omitempty"`
}

func (r Rules) filled() Rules {
	fill := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	fill(&r.StrongH, 6)
	fill(&r.UsableH, 8)
	fill(&r.AtC, 22)
	fill(&r.SteadyPct, 15)
	fill(&r.Days, 14)
	return r
}

// Verdict is what a starter's feedings tell.
type Verdict struct {
	Grade Grade `json:"grade"`
	// Reason is why, in one or two sentences with the numbers seen.
	Reason string `json:"reason"`
	// Vigour is the mean over the newest feedings that can be compared, at most three; Trend the factor from one feeding to
	// the next.
	Vigour Interval `json:"vigour"`
	Trend  Interval `json:"trend"`
	// DoubleH is the time to double that this vigour means after a feeding of 1:1:1 at the rules' temperature, h.
	DoubleH Num `json:"double_h"`
	// Steady tells that the newest three feedings agree. Compared counts the feedings that could be compared.
	Steady   bool `json:"steady"`
	Compared int  `json:"compared"`
	// Remedies are what may help a slow starter, best first, and Notes what the numbers do not show.
	Remedies []string `json:"remedies,omitempty"`
	Notes    []string `json:"notes,omitempty"`
}

// Assess judges a starter by its feedings at a time.
func Assess(s Starter, runs []FeedingRun, at time.Time, rules Rules) Verdict {
	rules = rules.filled()
	like := Like(runs)
	if len(like) == 0 {
		return Verdict{Grade: GradeNone, Reason: "No feeding of this starter has been watched yet: feed it with a sample on a station."}
	}
	newest := like[len(like)-1]
	last := like[max(0, len(like)-3):]
	v := Verdict{Vigour: VigourMean(last), Trend: VigourTrend(like), Compared: len(like)}
	v.notes(newest, len(runs)-len(like))
	if newest.HydrationPct > liquidNone || !v.Vigour.Value.IsKnown() {
		v.Grade, v.Reason = unreadable(newest)
		return v
	}
	v.Steady = steady(last, rules.SteadyPct)
	v.DoubleH = Known(usualDouble(rules.AtC) / v.Vigour.Value.Or(1))
	v.grade(s, newest, at, rules)
	if v.Grade != GradeStrong {
		v.remedies(newest)
	}
	return v
}

// unreadable is the verdict where no vigour is known.
func unreadable(r FeedingRun) (Grade, string) {
	top, ok := r.Milestones.TopMultiple.Get()
	if r.HydrationPct <= liquidNone && ok && top < MilestoneLevels[0] && r.Milestones.PeakH.IsKnown() {
		return GradeWeak, fmt.Sprintf("It rose to ×%.2f only.", top)
	}
	return GradeNone, fmt.Sprintf("The newest feeding gives no verdict: %s.", r.Vigour.Why)
}

// usualDouble is the usual culture's time to double after 1:1:1 at a temperature, h.
func usualDouble(tempC float64) float64 {
	yeast := SourdoughYeast()
	return mix{usualInoculation, 100, 0}.thermal(2) * yeast.Rate(referenceC) / yeast.Rate(tempC)
}

// steady reports whether three feedings agree within pct of their mean.
func steady(last []FeedingRun, pct float64) bool {
	sum, n := 0.0, 0.0
	for _, r := range last {
		if v, ok := r.Vigour.Ratio.Get(); ok {
			sum, n = sum+1/v, n+1
		}
	}
	return n == 3 && !slices.ContainsFunc(last, func(r FeedingRun) bool {
		return math.Abs(1/r.Vigour.Ratio.Or(1)-sum/n) > pct/100*sum/n
	})
}

// grade decides. What speaks against a starter goes before what speaks for it.
func (v *Verdict) grade(s Starter, newest FeedingRun, at time.Time, rules Rules) {
	double := v.DoubleH.Or(0)
	seen := fmt.Sprintf("Brought to 1:1:1 at %.0f °C it doubles in %.1f h", rules.AtC, double)
	age := at.Sub(s.Born).Hours() / 24
	young := !s.Born.IsZero() && age < rules.Days
	top := newest.Milestones.TopMultiple.Or(2)
	switch {
	case top < 2 && newest.Milestones.PeakH.IsKnown() && newest.HydrationPct <= liquidWeak:
		v.Grade, v.Reason = GradeWeak, fmt.Sprintf("It did not double: it peaked at ×%.2f.", top)
	case double > rules.UsableH:
		v.Grade, v.Reason = GradeWeak, fmt.Sprintf("%s; %.0f h or less make it usable.", seen, rules.UsableH)
	case v.Compared < 3:
		v.Grade, v.Reason = GradeUnsteady, fmt.Sprintf("%s, but only %s can be compared: three in a row are needed.", seen, counted(v.Compared, "feeding"))
	case !v.Steady:
		v.Grade, v.Reason = GradeUnsteady, fmt.Sprintf("%s, but the last three feedings differ by more than %.0f %%.", seen, rules.SteadyPct)
	case young:
		v.Grade, v.Reason = GradeUsable, fmt.Sprintf("%s, but it is only %.0f days old: an early burst can be gas-forming bacteria.", seen, age)
	case double > rules.StrongH:
		v.Grade, v.Reason = GradeUsable, fmt.Sprintf("%s; %.0f h or less would be strong.", seen, rules.StrongH)
	default:
		v.Grade, v.Reason = GradeStrong, fmt.Sprintf("%s, three feedings in a row within %.0f %%.", seen, rules.SteadyPct)
	}
}

// remedies offers what may help a slow starter, with the numbers seen.
func (v *Verdict) remedies(r FeedingRun) {
	yeast := SourdoughYeast()
	if c, ok := r.Milestones.MeanC.Get(); ok && c < 24 && yeast.Rate(c) > 0 {
		gain := 100 * (1 - yeast.Rate(c)/yeast.Rate(26))
		v.Remedies = append(v.Remedies, fmt.Sprintf("Warmer: it stood at %.1f °C; at 26 °C the same takes about %.0f %% less time.", c, gain))
	}
	if peak, ok := r.Milestones.PeakH.Get(); ok {
		hold := ""
		if h, known := r.Milestones.HoldH.Get(); known {
			hold = fmt.Sprintf(" and held near it for %.1f h", h)
		}
		v.Remedies = append(v.Remedies, fmt.Sprintf("Fresher: it peaked after %.1f h%s; feed it then, not later, two or three times in a row.", peak, hold))
	}
	if r.InoculationPct > 15 {
		v.Remedies = append(v.Remedies, fmt.Sprintf("Smaller seed: %s carries much acid over; try 1:4:4, which takes longer but feeds the yeast better.", r.Feeding.Ratio()))
	}
	if r.HydrationPct > 80 {
		v.Remedies = append(v.Remedies, "A stiff feeding of about 50 % hydration is one option: stiff favours yeast and liquid favours bacteria by common practice; the literature is not of one mind.")
	}
}

// notes says what limits the comparison.
func (v *Verdict) notes(r FeedingRun, unlike int) {
	if r.HydrationPct > liquidWeak && r.HydrationPct <= liquidNone {
		v.Notes = append(v.Notes, fmt.Sprintf("Weak evidence: at %.0f %% hydration a starter holds its gas badly.", r.HydrationPct))
	}
	if unlike > 0 {
		v.Notes = append(v.Notes, fmt.Sprintf("Left out of the comparison for other flour or hydration: %s.", counted(unlike, "feeding")))
	}
	if c, ok := r.Milestones.MeanC.Get(); ok && c > 32 {
		v.Notes = append(v.Notes, fmt.Sprintf("It stood at %.1f °C: repeated feedings above 32 °C lose the yeast (M. Gänzle; Meroth et al. 2003).", c))
	}
	v.Notes = append(v.Notes, "Rise shows gas, not acidity, mould, colour or smell.")
}

// Expected is what a starter usually does after a feeding.
type Expected struct {
	// PeakMultiple is the multiple it usually reaches, NearMultiple that of nine tenths of the rise, at which the bell for
	// "near its peak" rings. HoldH is how long it usually stays above that, h. Unknown without a feeding that shows it.
	PeakMultiple Num `json:"peak_multiple"`
	NearMultiple Num `json:"near_multiple"`
	HoldH        Num `json:"hold_h"`
}

// Expect is the median of the newest five feedings that can be compared with the newest one and were seen to peak.
func Expect(runs []FeedingRun) Expected {
	var peaks, holds []float64
	like := Like(runs)
	for _, r := range slices.Backward(like) {
		if len(peaks) == 5 {
			break
		}
		if top, ok := r.Milestones.TopMultiple.Get(); ok && r.Milestones.PeakH.IsKnown() {
			peaks = append(peaks, top)
			if h, ok := r.Milestones.HoldH.Get(); ok {
				holds = append(holds, h)
			}
		}
	}
	e := Expected{PeakMultiple: medianOf(peaks), HoldH: medianOf(holds)}
	if peak, ok := e.PeakMultiple.Get(); ok {
		e.NearMultiple = Known(1 + NearShare*(peak-1))
	}
	return e
}

// medianOf is the median; unknown for none.
func medianOf(vs []float64) Num {
	if len(vs) == 0 {
		return Num{}
	}
	s := slices.Sorted(slices.Values(vs))
	return Known((s[(len(s)-1)/2] + s[len(s)/2]) / 2)
}
