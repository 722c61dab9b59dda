package rise

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// The words for an outcome, one tap each.
var (
	Spreads    = []string{"tall", "held", "flat"}
	Crumbs     = []string{"tight", "even", "open", "gummy"}
	Crusts     = []string{"pale", "good", "dark"}
	Sournesses = []string{"mild", "right", "sharp"}
)

// Check says which word of an outcome is unknown; nil if none is. An outcome without any word is refused.
func (o Outcome) Check() error {
	if o == (Outcome{}) {
		return errors.New("an outcome needs at least one of spread, crumb, crust, sourness")
	}
	var faults []error
	for _, w := range []struct {
		what, word string
		words      []string
	}{{"spread", o.Spread, Spreads}, {"crumb", o.Crumb, Crumbs}, {"crust", o.Crust, Crusts}, {"sourness", o.Sourness, Sournesses}} {
		if w.word != "" && !slices.Contains(w.words, w.word) {
			faults = append(faults, fmt.Errorf("%s %q is unknown: it is one of %s", w.what, w.word, strings.Join(w.words, ", ")))
		}
	}
	return errors.Join(faults...)
}

// Bake is one dough from mixing to bread.
type Bake struct {
	Run   int       `json:"run"`
	Name  string    `json:"name,omitempty"`
	Baked time.Time `json:"baked"`
	// Hours is the bulk from mixing to its end, h, MeanC its mean temperature, °C, Multiple the one at its end.
	Hours    Num `json:"hours"`
	MeanC    Num `json:"mean_c"`
	Multiple Num `json:"multiple"`
	// AfterH is the time from the end of bulk to the oven, h.
	AfterH Num `json:"after_h"`
	// UsualToH is the upper end of the usual range for its inoculation and temperature, h.
	UsualToH Num     `json:"usual_to_h,omitzero"`
	Outcome  Outcome `json:"outcome,omitzero"`
}

// NewBake puts together what is known of a run that was baked. Times that are unknown are zero.
func NewBake(s Summary, mixed, ended, baked time.Time, atEnd Num, o Outcome) Bake {
	b := Bake{Run: s.Run.Number, Name: s.Run.Name, Baked: baked, MeanC: s.MeanC, Multiple: atEnd, Outcome: o}
	if h := ended.Sub(mixed).Hours(); !mixed.IsZero() && !ended.IsZero() && h > 0 {
		b.Hours = Known(h)
	}
	if h := baked.Sub(ended).Hours(); !ended.IsZero() && !baked.IsZero() && h >= 0 {
		b.AfterH = Known(h)
	}
	if c, ok := s.MeanC.Get(); ok {
		if _, to, ok := UsualRange(s.Run, c); ok {
			b.UsualToH = Known(to)
		}
	}
	return b
}

// slow reports whether its bulk took longer than usual for its inoculation and temperature.
func (b Bake) slow() bool {
	h, ok := b.Hours.Get()
	to, known := b.UsualToH.Get()
	return ok && known && h > to
}

// fault is what an outcome complains of.
type fault string

const (
	faultNone  fault = ""
	faultUnder fault = "too little fermentation"
	faultOver  fault = "too much fermentation"
	faultSour  fault = "too sour"
	// faultUnclear is flat and tight without having been slow.
	faultUnclear fault = "too little or too much fermentation"
)

// fault reads an outcome: tall and tight or gummy is too little fermentation, flat without being tight too much (common
// practice, no source).
func (b Bake) fault() fault {
	o := b.Outcome
	dense := o.Crumb == "tight" || o.Crumb == "gummy"
	switch {
	case dense && o.Spread != "flat":
		return faultUnder
	case o.Spread == "flat" && !dense:
		return faultOver
	case o.Spread == "flat" && b.slow():
		return faultUnder
	case o.Spread == "flat":
		return faultUnclear
	case o.Sourness == "sharp":
		return faultSour
	}
	return faultNone
}

// Advice is at most one change for the next bake.
type Advice struct {
	// Change is empty where there is not enough to say, or nothing to change.
	Change string `json:"change,omitempty"`
	Reason string `json:"reason"`
	// Unseen is what rise cannot see, told every time.
	Unseen string `json:"unseen"`
}

// unseenText is told with every advice.
const unseenText = "Rise cannot see shaping, oven or flour: any of them can do the same."

// Advise looks at the last five bakes with an outcome, in any order, and gives at most one change for the next.
func Advise(bakes []Bake) Advice {
	told := slices.DeleteFunc(slices.Clone(bakes), func(b Bake) bool { return b.Outcome == (Outcome{}) })
	slices.SortStableFunc(told, func(a, b Bake) int { return cmp.Or(a.Baked.Compare(b.Baked), cmp.Compare(a.Run, b.Run)) })
	told = lastOf(told, 5)
	a := Advice{Unseen: unseenText}
	if len(told) < 2 {
		a.Reason = "Not enough to say: at least two bakes need an outcome."
		return a
	}
	newest := told[len(told)-1]
	f := newest.fault()
	if f == faultNone {
		a.Reason = "The last bake gives no reason to change anything."
		return a
	}
	if f == faultUnclear {
		a.Reason = "Not enough to say: flat and tight comes of too little fermentation as well as of too much."
		return a
	}
	again := 0
	for _, b := range told {
		if b.fault() == f {
			again++
		}
	}
	good := bestOf(told)
	switch {
	case again < 2 && good == nil:
		a.Reason = fmt.Sprintf("Not enough to say: only one bake of %d points to %s.", len(told), f)
	default:
		a.Change, a.Reason = f.remedy(newest, f.edge(told), good, again, len(told))
	}
	return a
}

// bestOf is the newest bake without a fault whose multiple is known.
func bestOf(told []Bake) *Bake {
	for i := len(told) - 1; i >= 0; i-- {
		if told[i].fault() == faultNone && told[i].Multiple.IsKnown() {
			return &told[i]
		}
	}
	return nil
}

// edge is the multiple nearest to right among the bakes with a fault: the lowest of those that had too much, the highest of
// those that had too little.
func (f fault) edge(told []Bake) Num {
	edge := Num{}
	for _, b := range told {
		m, ok := b.Multiple.Get()
		if b.fault() != f || !ok {
			continue
		}
		if e := edge.Or(m); f == faultOver {
			edge = Known(min(e, m))
		} else {
			edge = Known(max(e, m))
		}
	}
	return edge
}

// remedy is the change for a fault and its reason.
func (f fault) remedy(newest Bake, edge Num, good *Bake, again, of int) (change, reason string) {
	seen := fmt.Sprintf("%d of the last %d bakes point to %s", again, of, f)
	if f == faultUnder && newest.slow() {
		return "Strengthen the starter before the next dough: feed it until it doubles within 8 h, two or three times in a row.",
			fmt.Sprintf("%s, and bulk took %.0f h where at most %.0f h is usual: a dough that doubles too slowly bakes flat or tight.", seen, newest.Hours.Or(0), newest.UsualToH.Or(0))
	}
	if f == faultSour {
		return "Use more starter, younger, and keep the dough a little warmer: the same rise in less time.", seen + "; acid comes with time."
	}
	at, known := newest.Multiple.Get()
	if !known {
		return "", "Not enough to say: the multiple at the end of bulk is not known."
	}
	step := 0.15
	if f == faultOver {
		step = -step
	}
	if good != nil {
		was := good.Multiple.Or(at)
		if diff := was - at; math.Abs(diff) > 0.05 && (diff > 0) == (step > 0) {
			return fmt.Sprintf("End bulk at ×%.2f.", was), fmt.Sprintf("%s; run %d came out well at ×%.2f, and the last ended at ×%.2f.", seen, good.Run, was, at)
		}
	}
	reason = fmt.Sprintf("%s; the last ended at ×%.2f", seen, at)
	from := edge.Or(at)
	if math.Abs(from-at) > 0.005 {
		reason += fmt.Sprintf(", one at ×%.2f", from)
	}
	return fmt.Sprintf("End bulk at ×%.2f.", max(1.2, from+step)), reason + "."
}

// ThermalHours is the time that growth at 25 °C would have taken for what each entry's temperature allowed until
// then, h: the axis on which runs in a cool and in a warm kitchen lie over one another. hours must rise; an unknown
// temperature is the last known.
func ThermalHours(hours []float64, tempC []Num) []float64 {
	p := Progress{Hours: hours, TempC: tempC}
	yeast := SourdoughYeast()
	reference := yeast.Rate(referenceC)
	pace := yeast.Rate(firstTemp(p)) / reference
	out := make([]float64, len(hours))
	sum, at := 0.0, 0.0
	for i, h := range hours {
		before := pace
		if c, ok := p.temp(i); ok {
			pace = yeast.Rate(c) / reference
		}
		if h > at {
			sum += (h - at) * (before + pace) / 2
			at = h
		}
		out[i] = sum
	}
	return out
}
