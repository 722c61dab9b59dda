package rise

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Part is what an ingredient counts as.
type Part string

// The parts of a dough.
const (
	PartFlour Part = "flour"
	PartWater Part = "water"
	PartSalt  Part = "salt"
	// PartStarter is ripe starter or any other preferment: flour and water by its hydration.
	PartStarter Part = "starter"
	PartOther   Part = "other"
)

var parts = []Part{PartFlour, PartWater, PartSalt, PartStarter, PartOther}

// Ingredient is one line of a recipe.
type Ingredient struct {
	Name string `json:"name"`
	Part Part   `json:"part"`
	// G is its mass in grams, or in parts of any one unit: a recipe written in baker's percentages is one of 100 g flour.
	G float64 `json:"g"`
	// HydrationPct is a starter's water in % of its flour; unknown is 100.
	HydrationPct Num `json:"hydration_pct,omitzero"`
	// WaterPct is the water in another ingredient, % of its mass (milk 87, whole egg 75); unknown counts none.
	WaterPct Num `json:"water_pct,omitzero"`
	// Perishable marks what spoils at room temperature; ingredients whose name says so need no mark.
	Perishable bool `json:"perishable,omitempty"`
}

// flourWater is what the ingredient brings of each, g.
func (i Ingredient) flourWater() (flour, water float64) {
	switch i.Part {
	case PartFlour:
		return i.G, 0
	case PartWater:
		return 0, i.G
	case PartStarter:
		return StarterParts(i.G, i.HydrationPct.Or(100))
	case PartOther:
		return 0, i.G * i.WaterPct.Or(0) / 100
	}
	return 0, 0
}

// StarterParts divides a mass of starter, g, into its flour and its water by its hydration, % of flour.
func StarterParts(massG, hydrationPct float64) (flourG, waterG float64) {
	flourG = massG / (1 + hydrationPct/100)
	return flourG, massG - flourG
}

// Recipe is a dough as the baker writes it.
type Recipe struct {
	Name        string       `json:"name"`
	Ingredients []Ingredient `json:"ingredients"`
	// DoughG is the mass of dough that the recipe says it makes, g; unknown is the sum of its ingredients.
	DoughG Num `json:"dough_g,omitzero"`
	// Target is the multiple at which its bulk is to end, DoughC the temperature it is mixed to, °C; unknown leaves
	// them open.
	Target Num    `json:"target,omitzero"`
	DoughC Num    `json:"dough_c,omitzero"`
	Note   string `json:"note,omitempty"`
}

// Formula is what a recipe comes to. Percentages are of all flour, that in the starter included, unless said otherwise.
type Formula struct {
	// DoughG, FlourG, WaterG, SaltG and StarterG are masses, g; flour and water count those in the starter.
	DoughG   float64 `json:"dough_g"`
	FlourG   float64 `json:"flour_g"`
	WaterG   float64 `json:"water_g"`
	SaltG    float64 `json:"salt_g"`
	StarterG float64 `json:"starter_g"`
	// HydrationPct is the true hydration, AddedHydrationPct the one of the flour and water outside the starter.
	HydrationPct      float64 `json:"hydration_pct"`
	AddedHydrationPct float64 `json:"added_hydration_pct"`
	SaltPct           float64 `json:"salt_pct"`
	// InoculationPct is the prefermented flour. StarterPct is the starter in % of the flour outside it, as most
	// recipes write it.
	InoculationPct float64 `json:"inoculation_pct"`
	StarterPct     float64 `json:"starter_pct"`
	// DoughYield is flour and water per 100 flour.
	DoughYield float64 `json:"dough_yield"`
	// Percentages are the ingredients' own, % of the flour outside the starter, in the recipe's order.
	Percentages []float64 `json:"percentages"`
	// Perishable names the ingredients that spoil at room temperature.
	Perishable []string `json:"perishable,omitempty"`
}

// Formula computes what the recipe comes to, or says why it cannot be right.
func (r Recipe) Formula() (Formula, error) {
	if err := r.Check(); err != nil {
		return Formula{}, err
	}
	return r.formula(), nil
}

func (r Recipe) formula() Formula {
	var f Formula
	var starterFlour, starterWater float64
	for _, i := range r.Ingredients {
		flour, water := i.flourWater()
		f.FlourG, f.WaterG, f.DoughG = f.FlourG+flour, f.WaterG+water, f.DoughG+i.G
		switch i.Part {
		case PartSalt:
			f.SaltG += i.G
		case PartStarter:
			f.StarterG, starterFlour, starterWater = f.StarterG+i.G, starterFlour+flour, starterWater+water
		}
		if i.perishable() {
			f.Perishable = append(f.Perishable, i.Name)
		}
	}
	added := f.FlourG - starterFlour
	f.HydrationPct = 100 * f.WaterG / f.FlourG
	f.DoughYield = 100 + f.HydrationPct
	f.SaltPct = 100 * f.SaltG / f.FlourG
	f.InoculationPct = 100 * starterFlour / f.FlourG
	f.AddedHydrationPct = 100 * (f.WaterG - starterWater) / added
	f.StarterPct = 100 * f.StarterG / added
	for _, i := range r.Ingredients {
		f.Percentages = append(f.Percentages, 100*i.G/added)
	}
	return f
}

// Check says why a recipe cannot be right, all faults at once; nil if it can.
func (r Recipe) Check() error {
	var faults []error
	fault := func(format string, a ...any) { faults = append(faults, fmt.Errorf(format, a...)) }
	flour := 0.0
	for n, i := range r.Ingredients {
		name := i.Name
		if name == "" {
			name = fmt.Sprintf("ingredient %d", n+1)
		}
		if err := i.check(); err != nil {
			fault("%s: %w", name, err)
		}
		if i.Part == PartFlour {
			flour += max(0, i.G)
		}
	}
	if flour == 0 {
		fault("there is no flour: give at least one ingredient of part %q", PartFlour)
	}
	if len(faults) == 0 {
		faults = append(faults, r.checkSums()...)
	}
	if t, ok := r.Target.Get(); ok && !(t > 1 && t <= 10) {
		fault("target ×%g cannot be: it must be above 1 and at most 10 (2.0 is doubled)", t)
	}
	if c, ok := r.DoughC.Get(); ok && !(c >= 0 && c <= 45) {
		fault("dough temperature %g °C cannot be: it must be between 0 and 45", c)
	}
	return errors.Join(faults...)
}

func (i Ingredient) check() error {
	if err := checkMass(i.G); err != nil {
		return err
	}
	if !slices.Contains(parts, i.Part) {
		return fmt.Errorf("part %q is unknown: it is one of flour, water, salt, starter, other", i.Part)
	}
	if h, ok := i.HydrationPct.Get(); ok {
		if i.Part != PartStarter {
			return errors.New("only a starter has a hydration")
		}
		if err := checkStarterHydration(h); err != nil {
			return err
		}
	}
	if w, ok := i.WaterPct.Get(); ok && !(w >= 0 && w <= 100) {
		return fmt.Errorf("water of %g %% cannot be: it must be between 0 and 100", w)
	}
	return nil
}

// mostG is the most that one ingredient is taken to weigh, g: a tonne is a slip.
const mostG = 1e6

func checkMass(g float64) error {
	switch {
	case !(g > 0):
		return fmt.Errorf("%g g cannot be: the mass must be above 0", g)
	case g > mostG:
		return fmt.Errorf("%g g cannot be: give the mass in grams, at most %g", g, float64(mostG))
	}
	return nil
}

// The hydrations that a dough can have, % of flour: below, it does not come together; above, it is a batter.
const leastHydration, mostHydration = 35, 160

// checkSums tells whether the recipe as a whole can be right.
func (r Recipe) checkSums() []error {
	var faults []error
	f := r.formula()
	if !(f.HydrationPct >= leastHydration && f.HydrationPct <= mostHydration) {
		faults = append(faults, fmt.Errorf("hydration of %.0f %% cannot be a dough's: it must be between %d and %d; check grams against percentages",
			f.HydrationPct, leastHydration, mostHydration))
	}
	if f.SaltPct > 10 {
		faults = append(faults, fmt.Errorf("salt of %.1f %% of the flour stops a starter: 1.8 to 2.2 is usual", f.SaltPct))
	}
	if said, ok := r.DoughG.Get(); ok && !(math.Abs(said-f.DoughG) <= max(2, 0.01*f.DoughG)) {
		faults = append(faults, fmt.Errorf("it does not add up: the ingredients make %.0f g, the recipe says %.0f g", f.DoughG, said))
	}
	return faults
}

// Hints says what looks like a slip in a recipe that can be right: grams in place of percent, a point in the wrong place.
func (r Recipe) Hints() []string {
	if r.Check() != nil {
		return nil
	}
	f := r.formula()
	var hints []string
	for _, c := range []struct {
		what          string
		pct, from, to float64
	}{{"hydration", f.HydrationPct, 50, 100}, {"salt", f.SaltPct, 1, 3}, {"prefermented flour", f.InoculationPct, 2, 45}} {
		if c.pct > 0 && (c.pct < c.from || c.pct > c.to) {
			hints = append(hints, fmt.Sprintf("%s is %.3g %% of the flour, usual is %g to %g: is that a slip?", c.what, c.pct, c.from, c.to))
		}
	}
	if f.SaltG == 0 {
		hints = append(hints, "there is no salt: is that a slip?")
	}
	return hints
}

// SlipPct says what a percentage far off its usual range was probably meant to be; empty if it is not far off. A share
// typed as 0.2 is 20 %, one typed as 2000 is 20 with two zeros too many.
func SlipPct(what string, pct, from, to float64) string {
	if !(pct > 0) || pct >= from && pct <= to {
		return ""
	}
	for _, factor := range []float64{100, 0.01, 10, 0.1} {
		if meant := pct * factor; meant >= from && meant <= to {
			return fmt.Sprintf("%s of %g %% is unusual: was %g %% meant?", what, pct, meant)
		}
	}
	return fmt.Sprintf("%s of %g %% is unusual: %g to %g is", what, pct, from, to)
}

// Scale is the recipe for another mass of dough, g.
func (r Recipe) Scale(doughG float64) (Recipe, error) {
	if err := r.Check(); err != nil {
		return Recipe{}, err
	}
	if err := checkMass(doughG); err != nil {
		return Recipe{}, fmt.Errorf("dough: %w", err)
	}
	factor := doughG / r.formula().DoughG
	out := r
	out.DoughG = Known(doughG)
	out.Ingredients = slices.Clone(r.Ingredients)
	for n := range out.Ingredients {
		out.Ingredients[n].G *= factor
	}
	return out, nil
}

// FlourFor is the flour in a dough whose ingredients add up to totalPct of the flour, in the unit of the dough's mass.
func FlourFor(dough, totalPct float64) float64 { return dough / (totalPct / 100) }

// perishableWords are found in the names of what spoils at room temperature.
var perishableWords = []string{"milk", "egg", "cheese", "meat", "cream", "yogurt", "yoghurt", "quark", "curd", "ricotta", "custard", "ham", "bacon", "sausage", "fish", "chicken"}

func (i Ingredient) perishable() bool {
	if i.Perishable {
		return true
	}
	if i.Part == PartWater || i.Part == PartSalt || i.Part == PartFlour {
		return false
	}
	words := strings.FieldsFunc(strings.ToLower(i.Name), func(r rune) bool { return r < 'a' || r > 'z' })
	if slices.Contains(words, "powder") || slices.Contains(words, "dried") {
		return false
	}
	return slices.ContainsFunc(words, func(w string) bool {
		return slices.Contains(perishableWords, w) || slices.Contains(perishableWords, strings.TrimSuffix(w, "s"))
	})
}

// PerishableCaution is what a recipe with perishable ingredients is told once; empty for one without.
func (f Formula) PerishableCaution() string {
	if len(f.Perishable) == 0 {
		return ""
	}
	return fmt.Sprintf("With %s this dough is perishable food: no more than two hours between 4 and 60 °C in all, one hour above 32 °C (USDA FSIS, danger zone). Let it rise in the refrigerator.",
		strings.Join(f.Perishable, ", "))
}
