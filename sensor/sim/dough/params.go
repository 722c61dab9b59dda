package dough

import (
	"fmt"
	"slices"
)

// Mechanism names one of the two unlike models of a dough.
type Mechanism string

// The mechanisms.
const (
	// Monod: Monod growth with inhibition, square-root temperature law, one gas phase whose walls open by coalescence.
	Monod Mechanism = "monod"
	// Film: two sugars in turn, nutrient-bound growth, Arrhenius law with inactivation, elastic films that burst.
	Film Mechanism = "film"
)

// Mechanisms lists both.
var Mechanisms = []Mechanism{Monod, Film}

// Culture is a starter: what stays the same from night to night.
type Culture struct {
	// GasLPerKgH is the gas made at 25 °C by the yeast of one kilogram of ripe starter flour, l/h. About 1 gives the
	// starting rates of 0.03 to 0.3 l per kg dough and hour; cultures differ by a factor of 2 (Hou & Hsu 2013, Food Biosci.
	// 3:75).
	GasLPerKgH float64 `json:"gas_l_per_kg_h"`
	// GrowthPerH is the yeast's specific growth rate in dough at 25 °C without inhibition, 1/h. Wort yeast at 28 °C:
	// 0.15-0.20 (Gause 1932, Q. Rev. Biol. 7:27); Candida milleri at its optimum: 0.42 (from memory).
	GrowthPerH float64 `json:"growth_per_h"`
	// MinC, OptC and MaxC are where growth ends, is fastest, and ends again, °C: S. cerevisiae 1.3-4.3, 32.3, 45.4 (Salvadó
	// et al. 2011, Appl. Environ. Microbiol. 77:2292), C. milleri 27 and 36 (Gänzle et al. 1998, Appl. Environ. Microbiol.
	// 64:2616). MinC of the square-root law is a notional one and lies some kelvin below the lowest growth seen.
	MinC float64 `json:"min_c"`
	OptC float64 `json:"opt_c"`
	MaxC float64 `json:"max_c"`
	// LagH0 is the work to be done before growth, as the product of growth rate and lag (Baranyi & Roberts 1994).
	LagH0 float64 `json:"lag_h0"`
	// Tolerance scales the acid and ethanol that the yeast bears; 1 is usual.
	Tolerance float64 `json:"tolerance"`
	// SaltFactor is the rate left at 2 % salt on flour: 0.85 ± 0.1 (common practice, no source).
	SaltFactor float64 `json:"salt_factor"`
}

// Flour is what a dough's flour brings.
type Flour struct {
	// SugarPct is the free sugar, MaltosePctH the maltose set free by enzymes at 25 °C and at first, % of flour and %/h.
	SugarPct    float64 `json:"sugar_pct"`
	MaltosePctH float64 `json:"maltose_pct_h"`
	// Strength scales how long the walls of the bubbles last; 1 is a usual bread wheat, rye about 0.6.
	Strength float64 `json:"strength"`
	// DomePct is the dome of the risen surface's middle, % of the height risen; 0 for rye, which stays flat and cracks.
	DomePct float64 `json:"dome_pct"`
}

// Params are one night's dough.
type Params struct {
	Mechanism Mechanism `json:"mechanism"`
	// Seed drives what is random within the night: blisters on the surface.
	Seed    uint64  `json:"seed"`
	Culture Culture `json:"culture"`
	Flour   Flour   `json:"flour"`
	// InoculationPct is the prefermented flour, HydrationPct the water and SaltPct the salt, all in % of all flour.
	InoculationPct float64 `json:"inoculation_pct"`
	HydrationPct   float64 `json:"hydration_pct"`
	SaltPct        float64 `json:"salt_pct"`
	// Vigour is the starter's form on this night: 1 is as usual. Lag scales its LagH0: more when hungry or cold.
	Vigour float64 `json:"vigour"`
	Lag    float64 `json:"lag"`
	// AirPct is the air mixed in, % of the volume after mixing: 4-10 (Campbell et al. 1993, Cereal Chem. 70:517, method;
	// numbers from memory).
	AirPct float64 `json:"air_pct"`
	// StartC is the temperature after mixing, °C.
	StartC float64 `json:"start_c"`
	// BaseMM is the height of the settled sample in its straight jar, mm.
	BaseMM float64 `json:"base_mm"`
	// SlumpPct is how much higher the fresh sample stands, % of BaseMM, SlumpH the time constant of its sinking, h.
	SlumpPct float64 `json:"slump_pct"`
	SlumpH   float64 `json:"slump_h"`
	// SampleH and MainH are the time constants of the sample's and of the main dough's temperature, h: about 1.0 for 60 g
	// in a glass, 1.7 to 4.6 for a bowl (m·c/(h·S) with h = 8 W/m²/K).
	SampleH float64 `json:"sample_h"`
	MainH   float64 `json:"main_h"`
}

// Default is a plain wheat dough with 10 % prefermented flour in usual form.
func Default() Params {
	return Params{
		Mechanism: Monod, Seed: 1,
		Culture: Culture{GasLPerKgH: 1.0, GrowthPerH: 0.34, MinC: -1, OptC: 30, MaxC: 40, LagH0: 0.4, Tolerance: 1, SaltFactor: 0.85},
		Flour:   Flour{SugarPct: 2, MaltosePctH: 0.25, Strength: 1, DomePct: 8},

		InoculationPct: 10, HydrationPct: 72, SaltPct: 2, Vigour: 1, Lag: 1, AirPct: 7, StartC: 24,
		BaseMM: 35, SlumpPct: 5, SlumpH: 0.3, SampleH: 1, MainH: 2.2,
	}
}

// Feeding is the culture after a feeding of seedG grams of ripe starter at 100 % hydration with flourG and waterG, g:
// Default with the shares and the softness of a starter.
func Feeding(c Culture, seedG, flourG, waterG float64) Params {
	p := Default()
	p.Culture = c
	flour := flourG + seedG/2
	p.InoculationPct = 100 * seedG / 2 / flour
	p.HydrationPct = 100 * (waterG + seedG/2) / flour
	p.SaltPct, p.SlumpPct, p.Flour.DomePct, p.Flour.Strength = 0, 2, 4, 0.8
	return p
}

// Check refuses parameters that no dough has, naming the one at fault.
func (p Params) Check() error {
	if p.Mechanism != "" && !slices.Contains(Mechanisms, p.Mechanism) {
		return fmt.Errorf("mechanism %q is unknown: it is one of %q", p.Mechanism, Mechanisms)
	}
	k := p.Culture
	if !(k.MinC < k.OptC && k.OptC < k.MaxC && k.MaxC-k.OptC < k.OptC-k.MinC && k.MinC < referenceC && referenceC < k.MaxC) {
		return fmt.Errorf("culture: min_c %g, opt_c %g, max_c %g must rise, hold 25 between them, and the best be nearer to the hottest", k.MinC, k.OptC, k.MaxC)
	}
	for _, b := range p.bounds() {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("%s %g is not between %g and %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// bound is a parameter with its limits.
type bound struct {
	name      string
	v, lo, hi float64
}

func (p Params) bounds() []bound {
	return []bound{
		{"gas_l_per_kg_h", p.Culture.GasLPerKgH, 0.01, 10},
		{"growth_per_h", p.Culture.GrowthPerH, 0.01, 2},
		{"lag_h0", p.Culture.LagH0, 0, 10},
		{"tolerance", p.Culture.Tolerance, 0.01, 10},
		{"salt_factor", p.Culture.SaltFactor, 0, 2},
		{"sugar_pct", p.Flour.SugarPct, 0, 30},
		{"maltose_pct_h", p.Flour.MaltosePctH, 0, 5},
		{"strength", p.Flour.Strength, 0.1, 5},
		{"dome_pct", p.Flour.DomePct, 0, 50},
		{"inoculation_pct", p.InoculationPct, 0.01, 100},
		{"hydration_pct", p.HydrationPct, 40, 400},
		{"salt_pct", p.SaltPct, 0, 10},
		{"vigour", p.Vigour, 0.01, 10},
		{"lag", p.Lag, 0, 20},
		{"air_pct", p.AirPct, 0.5, 40},
		{"start_c", p.StartC, 0, 45},
		{"base_mm", p.BaseMM, 1, 500},
		{"slump_pct", p.SlumpPct, 0, 100},
		{"slump_h", p.SlumpH, 0.01, 10},
		{"sample_h", p.SampleH, 0.01, 50},
		{"main_h", p.MainH, 0.01, 50},
	}
}

// shares returns flour and water in kg per kg dough.
func (p Params) shares() (flour, water float64) {
	flour = 100 / (100 + p.HydrationPct + p.SaltPct)
	return flour, flour * p.HydrationPct / 100
}

// medium is the rate that salt and water leave of the yeast's own. Wetter dough ferments faster (common practice, no
// source).
func (p Params) medium() float64 {
	salt := 1 - (1-p.Culture.SaltFactor)*p.SaltPct/2
	wet := 1 + 0.003*(min(p.HydrationPct, 120)-72)
	return max(0, salt*wet)
}
