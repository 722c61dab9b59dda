package rise

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"
)

// Ask is a dough to be planned. Zero fields take their defaults. The words of the answer show times in the zone of the
// times handed in.
type Ask struct {
	// Now is the moment of asking, Mix when the dough is mixed (Now by default), Ready when it is wanted at its target.
	Now   time.Time `json:"now"`
	Mix   time.Time `json:"mix,omitzero"`
	Ready time.Time `json:"ready,omitzero"`
	// Target is the multiple; 2 by default.
	Target float64 `json:"target,omitempty"`
	// InoculationPct, HydrationPct and SaltPct are % of all flour; 15, 70 and 2 where unknown.
	InoculationPct Num `json:"inoculation_pct,omitzero"`
	HydrationPct   Num `json:"hydration_pct,omitzero"`
	SaltPct        Num `json:"salt_pct,omitzero"`
	// DoughC is the temperature after mixing, °C; 24 where unknown.
	DoughC Num `json:"dough_c,omitzero"`
	// Room is where it stands, TauH the time constant with which it follows the room, h; 3 by default.
	Room Room    `json:"room"`
	TauH float64 `json:"tau_h,omitempty"`
	// FridgeC is the refrigerator's temperature for a retard, °C; 4 where unknown.
	FridgeC Num `json:"fridge_c,omitzero"`
	// Speed is the starter's; UsualSpeed if zero.
	Speed Speed `json:"speed"`
	// Perishable names the ingredients that spoil at room temperature (Formula.Perishable): then no plan leaves the
	// dough warm for longer than the rule for perishable food allows.
	Perishable []string `json:"perishable,omitempty"`
}

// The ranges within which a plan looks. Less starter than 2 % or more than 40 % of the flour leaves what recipes do;
// cooler than 18 °C or warmer than 30 °C leaves what a kitchen and most starters' yeasts do (common practice, no source).
const (
	leastInoculation, mostInoculation = 2.0, 40.0
	coolestDough, warmestDough        = 18.0, 30.0
)

func (a Ask) filled() Ask {
	if a.Mix.IsZero() {
		a.Mix = a.Now
	}
	a.Target = orDefault(a.Target, 2)
	a.TauH = orDefault(a.TauH, 3)
	a.InoculationPct = Known(a.InoculationPct.Or(15))
	a.HydrationPct = Known(a.HydrationPct.Or(usualHydration))
	a.SaltPct = Known(a.SaltPct.Or(usualSalt))
	a.DoughC, a.FridgeC = Known(a.DoughC.Or(24)), Known(a.FridgeC.Or(4))
	if a.Speed.Ratio == 0 {
		a.Speed = UsualSpeed()
	}
	return a
}

// Check says why a plan cannot be asked for so; nil if it can.
func (a Ask) Check() error {
	f := a.filled()
	faults := []error{f.Room.Check()}
	within := func(what string, v, lo, hi float64, unit string) {
		if !(v >= lo && v <= hi) {
			faults = append(faults, fmt.Errorf("%s of %g%s cannot be: it must be between %g and %g", what, v, unit, lo, hi))
		}
	}
	within("target", f.Target, 1.05, 10, "")
	within("inoculation", f.InoculationPct.Or(0), 0.1, 100, " %")
	within("hydration", f.HydrationPct.Or(0), leastHydration, mostHydration, " %")
	within("salt", f.SaltPct.Or(0), 0, 10, " %")
	within("dough temperature", f.DoughC.Or(0), 0, 45, " °C")
	within("refrigerator", f.FridgeC.Or(0), -2, 15, " °C")
	within("time constant", f.TauH, 0.05, 48, " h")
	if !f.Ready.IsZero() && !f.Ready.After(f.Now) {
		faults = append(faults, fmt.Errorf("%s is in the past: give a time to come", clockTime(f.Ready)))
	} else if !f.Ready.IsZero() && !f.Ready.After(f.Mix) {
		faults = append(faults, errors.New("it cannot be ready before it is mixed"))
	}
	return errors.Join(faults...)
}

// Hints says what looks like a slip in an ask that can be right.
func (a Ask) Hints() []string {
	f := a.filled()
	var hints []string
	for _, h := range []string{
		SlipPct("inoculation", f.InoculationPct.Or(0), leastInoculation, 45),
		SlipPct("hydration", f.HydrationPct.Or(0), 50, 100),
	} {
		if h != "" {
			hints = append(hints, h)
		}
	}
	return hints
}

// clockTime is a moment as a plan's words show it.
func clockTime(t time.Time) string { return t.Format("Mon 15:04") }

// Choice is one way to bake.
type Choice struct {
	// What names it: "as asked", "starter", "cooler", "warmer", "retard".
	What           string  `json:"what"`
	InoculationPct float64 `json:"inoculation_pct"`
	DoughC         float64 `json:"dough_c"`
	// AirC is the temperature to keep it at, °C; unknown is the room as it is.
	AirC Num       `json:"air_c,omitzero"`
	Mix  time.Time `json:"mix"`
	// ChillAt is when to put it into the refrigerator, at about ChillMultiple; zero is never.
	ChillAt       time.Time `json:"chill_at,omitzero"`
	ChillMultiple Num       `json:"chill_multiple,omitzero"`
	// P10, P50 and P90 are quantiles of the time of reaching the target. With a retard they are those of the time to
	// chill it.
	P10 time.Time `json:"p10,omitzero"`
	P50 time.Time `json:"p50,omitzero"`
	P90 time.Time `json:"p90,omitzero"`
	// Text says it in one plain sentence.
	Text string `json:"text"`
}

// Plan is an answer to an Ask.
type Plan struct {
	// Choices are the ways, best first; the first is what was asked.
	Choices []Choice `json:"choices"`
	// Met tells whether the wish can be met. Where not, Why says so and the first choice is the nearest that can; none is
	// given for a perishable dough that would stand warm for too long.
	Met bool   `json:"met"`
	Why string `json:"why,omitempty"`
	// Basis says what the starter's speed rests on.
	Basis string `json:"basis"`
	// Caution is the rule for perishable food where the recipe needs it.
	Caution string `json:"caution,omitempty"`
}

// PlanMix tells when a dough mixed at a.Mix is ready.
func PlanMix(a Ask) (Plan, error) {
	if err := a.Check(); err != nil {
		return Plan{}, err
	}
	a = a.filled()
	c := a.choice("as asked")
	p := Plan{Choices: []Choice{c}, Met: !c.P50.IsZero(), Basis: a.Speed.From}
	if !p.Met {
		p.Why = fmt.Sprintf("It would take more than %.0f h: warmer, or more starter.", float64(horizonH))
	}
	return a.keepSafe(p), nil
}

// keepSafe takes out the ways that leave a perishable dough warm for longer than two hours, or one above 32 °C (USDA FSIS,
// danger zone of 4 to 60 °C).
func (a Ask) keepSafe(p Plan) Plan {
	if len(a.Perishable) == 0 {
		return p
	}
	p.Caution = Formula{Perishable: a.Perishable}.PerishableCaution()
	safe := slices.DeleteFunc(slices.Clone(p.Choices), func(c Choice) bool {
		until, allowed := c.P50, 2*time.Hour
		if !c.ChillAt.IsZero() {
			until = c.ChillAt
		}
		if c.AirC.Or(a.Room.At(c.Mix)) > 32 || c.DoughC > 32 {
			allowed = time.Hour
		}
		return until.IsZero() || until.Sub(c.Mix) > allowed
	})
	if len(safe) == 0 {
		p.Choices = []Choice{}
		p.Met, p.Why = false, "None of these ways keeps a perishable dough cold in time: let it rise in the refrigerator from the start, or leave the perishable ingredient out."
		return p
	}
	p.Choices = safe
	return p
}

// dough is the ask's gas balance.
func (a Ask) dough() mix {
	return mix{a.InoculationPct.Or(0), a.HydrationPct.Or(0), a.SaltPct.Or(0)}
}

// thermal is the time to the target that the starter is expected to need, in hours at 25 °C.
func (a Ask) thermal() float64 { return a.dough().thermal(a.Target) / a.Speed.Ratio }

// choice is the ask as it stands.
func (a Ask) choice(what string) Choice {
	c := Choice{What: what, InoculationPct: a.InoculationPct.Or(0), DoughC: a.DoughC.Or(0), Mix: a.Mix}
	c.P10, c.P50, c.P90 = a.quantiles(a.stand(), a.thermal())
	if c.P50.IsZero() {
		c.Text = "not within three days"
		return c
	}
	c.Text = fmt.Sprintf("%.0f %% prefermented flour, dough at %.0f °C: ready %s", c.InoculationPct, c.DoughC, span3(c))
	return c
}

// span3 is a choice's quantiles in words, to five minutes: no plan knows better.
func span3(c Choice) string {
	round := func(t time.Time) time.Time { return t.Round(5 * time.Minute) }
	if c.P90.IsZero() {
		return fmt.Sprintf("about %s, from %s on", clockTime(round(c.P50)), clockTime(round(c.P10)))
	}
	return fmt.Sprintf("about %s (%s to %s)", clockTime(round(c.P50)), round(c.P10).Format("15:04"), round(c.P90).Format("15:04"))
}

// stand is the dough once mixed.
func (a Ask) stand() stand { return stand{a.Mix, a.DoughC.Or(0), a.TauH, a.Room} }

// quantiles are those of the time by which the standing dough has grown by so many hours at 25 °C, give or take what is
// not known of starter and room.
func (a Ask) quantiles(s stand, thermal float64) (p10, p50, p90 time.Time) {
	mean, _ := s.until(thermal)
	u, t := a.Speed.at(mean, a.InoculationPct.Or(0), s.room.U)
	return s.when(thermal * math.Exp(-t*u)), s.when(thermal), s.when(thermal * math.Exp(t*u))
}
