package rise

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"
)

// Starter is a culture that is kept and fed.
type Starter struct {
	Name string `json:"name"`
	// Flours names its usual flours' shares, which add up to 1.
	Flours map[string]float64 `json:"flours,omitempty"`
	// HydrationPct is its usual water, % of flour.
	HydrationPct float64 `json:"hydration_pct"`
	// Born is when it was begun, UTC; zero is unknown.
	Born time.Time `json:"born,omitzero"`
	Note string    `json:"note,omitempty"`
}

// Check says what is wrong with a starter's description; nil if nothing is.
func (s Starter) Check() error {
	var faults []error
	if strings.TrimSpace(s.Name) == "" {
		faults = append(faults, errors.New("a starter needs a name"))
	}
	return errors.Join(append(faults, checkStarterHydration(s.HydrationPct), checkShares(s.Flours))...)
}

// The hydrations that a starter can have, % of flour.
const leastStarterHydration, mostStarterHydration = 40, 400

func checkStarterHydration(pct float64) error {
	if pct >= leastStarterHydration && pct <= mostStarterHydration {
		return nil
	}
	if pct > 0 && 100*pct >= leastStarterHydration && pct <= 4 {
		return fmt.Errorf("hydration of %g %% cannot be a starter's: was %g %% meant?", pct, 100*pct)
	}
	return fmt.Errorf("hydration of %g %% cannot be a starter's: it must be between %d and %d", pct, leastStarterHydration, mostStarterHydration)
}

// checkShares wants shares between 0 and 1 that add up to 1, or none at all.
func checkShares(shares map[string]float64) error {
	if len(shares) == 0 {
		return nil
	}
	sum := 0.0
	for _, name := range slices.Sorted(maps.Keys(shares)) {
		if v := shares[name]; !(v > 0 && v <= 1) {
			return fmt.Errorf("flour %s: a share of %g cannot be: it must be above 0 and at most 1", name, v)
		}
		sum += shares[name]
	}
	if math.Abs(sum-1) > 0.01 {
		return fmt.Errorf("the flours' shares add up to %.3g, not to 1", sum)
	}
	return nil
}

// Check says why a feeding cannot be right; nil if it can.
func (f Feeding) Check() error {
	var faults []error
	for _, m := range []struct {
		what string
		g    float64
	}{{"starter kept", f.SeedG}, {"flour", f.FlourG}, {"water", f.WaterG}} {
		if err := checkMass(m.g); err != nil {
			faults = append(faults, fmt.Errorf("%s: %w", m.what, err))
		}
	}
	if c, ok := f.TempC.Get(); ok && !(c >= 0 && c <= 45) {
		faults = append(faults, fmt.Errorf("temperature of %g °C cannot be: it must be between 0 and 45", c))
	}
	faults = append(faults, checkShares(f.Flours))
	return errors.Join(faults...)
}

// Hints says what looks like a slip in a feeding that can be right.
func (f Feeding) Hints() []string {
	var hints []string
	if f.Check() != nil {
		return nil
	}
	if f.FlourG < 1 || f.FlourG > 5000 {
		hints = append(hints, fmt.Sprintf("%g g of flour is unusual: are the numbers grams?", f.FlourG))
	}
	if ratio := f.FlourG / f.SeedG; ratio > 25 || ratio < 0.25 {
		hints = append(hints, fmt.Sprintf("a feeding of %s is unusual: is a mass mistyped?", f.Ratio()))
	}
	return hints
}

// Ratio is the feeding as bakers write it, starter : flour : water, as "1:5:5".
func (f Feeding) Ratio() string {
	one := func(v float64) string {
		digits := 0
		if r := v / f.SeedG; r < 10 && math.Abs(r-math.Round(r)) > 0.05 {
			digits = 1
		}
		return Known(v / f.SeedG).Text(digits)
	}
	return "1:" + one(f.FlourG) + ":" + one(f.WaterG)
}

// InoculationPct is the flour in the starter kept, % of all flour, where that has a hydration of seedHydrationPct.
func (f Feeding) InoculationPct(seedHydrationPct float64) float64 {
	seed, _ := StarterParts(f.SeedG, seedHydrationPct)
	return 100 * seed / (seed + f.FlourG)
}

// HydrationPct is all water in % of all flour.
func (f Feeding) HydrationPct(seedHydrationPct float64) float64 {
	flour, water := StarterParts(f.SeedG, seedHydrationPct)
	return 100 * (water + f.WaterG) / (flour + f.FlourG)
}

// DoughYield is flour and water per 100 flour: 160 is firm, 280 liquid (Di Cagno et al. 2014, Appl. Environ. Microbiol.
// 80:3161, Table 1).
func (f Feeding) DoughYield(seedHydrationPct float64) float64 {
	return 100 + f.HydrationPct(seedHydrationPct)
}
