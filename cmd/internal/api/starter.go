package api

import (
	"time"

	"nightjar/rise"
)

// The paths of starters, recipes and plans.
const (
	PathStarters   = "GET /api/starters"
	PathStarter    = "GET /api/starters/{name}"
	PathAddStarter = "POST /api/starters"
	// PathPlanFeed takes a FeedAsk and answers a rise.FeedPlan.
	PathPlanFeed = "POST /api/starters/{name}/plan"
	PathRecipes  = "GET /api/recipes"
	// PathRecipe takes dough_g=GRAMS: the recipe for that mass of dough.
	PathRecipe    = "GET /api/recipes/{name}"
	PathAddRecipe = "POST /api/recipes"
	// PathWater takes a WaterAsk and answers a WaterShown.
	PathWater = "POST /api/recipes/{name}/water"
	// PathPlan takes a PlanAsk and answers a Planned.
	PathPlan = "POST /api/plan"
	// PathReplan takes a ReplanAsk about a rising dough and answers a Planned.
	PathReplan = "POST /api/runs/{n}/plan"
	// PathStop takes a StopAsk and answers a Stopping.
	PathStop = "POST /api/plan/stop"
	// PathCompare takes run=N (repeatable; none is the newest five that ended) and answers a Comparison.
	PathCompare = "GET /api/compare"
)

// StarterShown is a starter with what its feedings tell. A listing leaves the feedings out.
type StarterShown struct {
	rise.Starter
	Version  int               `json:"version"`
	Verdict  rise.Verdict      `json:"verdict"`
	Expected rise.Expected     `json:"expected"`
	Fed      int               `json:"fed"`
	Feedings []rise.FeedingRun `json:"feedings,omitempty"`
}

// RecipeShown is a recipe with what it comes to.
type RecipeShown struct {
	rise.Recipe
	Version int          `json:"version"`
	Formula rise.Formula `json:"formula"`
	// Hints are what looks like a slip; Caution is said of perishable ingredients.
	Hints   []string `json:"hints,omitempty"`
	Caution string   `json:"caution,omitempty"`
}

// WaterAsk asks how warm a recipe's water must be.
type WaterAsk struct {
	// DoughG is the mass of dough, g; unknown is the recipe's. DoughC is how warm it is to be once mixed, °C.
	DoughG rise.Num `json:"dough_g,omitzero"`
	DoughC rise.Num `json:"dough_c,omitzero"`
	// FlourC is the flour's temperature, °C, StarterC the starter's (the flour's where unknown), TapC the coldest water at
	// hand (15 where unknown). MixingK is how much mixing warms the dough, K.
	FlourC   float64  `json:"flour_c"`
	StarterC rise.Num `json:"starter_c,omitzero"`
	TapC     rise.Num `json:"tap_c,omitzero"`
	MixingK  float64  `json:"mixing_k,omitempty"`
}

// WaterShown is a water temperature, °C, for so much water, and how much of it must be ice, g.
type WaterShown struct {
	WaterG float64 `json:"water_g"`
	WaterC float64 `json:"water_c"`
	IceG   float64 `json:"ice_g"`
	Text   string  `json:"text"`
}

// FeedAsk asks for a feeding that makes a starter ripe in time.
type FeedAsk struct {
	Ripe time.Time `json:"ripe"`
	// RoomC is the room's temperature, °C; unknown is that of Station's earlier nights.
	RoomC   rise.Num `json:"room_c,omitzero"`
	Station string   `json:"station,omitempty"`
	// MixC is the temperature of the mix, °C; unknown is the room's.
	MixC rise.Num `json:"mix_c,omitzero"`
}

// PlanAsk asks for a plan of a dough. What is left out is taken from the recipe, the starter and the station's earlier
// nights, or is usual.
type PlanAsk struct {
	Recipe  string `json:"recipe,omitempty"`
	Starter string `json:"starter,omitempty"`
	Station string `json:"station,omitempty"`
	// Mix is when it is mixed, zero is now; Ready is when it is wanted, zero asks when it will be.
	Mix            time.Time `json:"mix,omitzero"`
	Ready          time.Time `json:"ready,omitzero"`
	Target         float64   `json:"target,omitempty"`
	InoculationPct rise.Num  `json:"inoculation_pct,omitzero"`
	HydrationPct   rise.Num  `json:"hydration_pct,omitzero"`
	SaltPct        rise.Num  `json:"salt_pct,omitzero"`
	DoughC         rise.Num  `json:"dough_c,omitzero"`
	RoomC          rise.Num  `json:"room_c,omitzero"`
	FridgeC        rise.Num  `json:"fridge_c,omitzero"`
}

// ReplanAsk asks how a rising dough gets ready at another time.
type ReplanAsk struct {
	Ready   time.Time `json:"ready"`
	RoomC   rise.Num  `json:"room_c,omitzero"`
	FridgeC rise.Num  `json:"fridge_c,omitzero"`
}

// Planned is a plan with what looks like a slip in what was asked, and cautions.
type Planned struct {
	rise.Plan
	// Room says whence the room's temperature is known.
	Room  string   `json:"room"`
	Hints []string `json:"hints,omitempty"`
}

// StopAsk asks at which multiple to end bulk for what comes after it. Run is a dough whose numbers count; what is given
// beside it goes before them.
type StopAsk struct {
	Run            int      `json:"run,omitempty"`
	Recipe         string   `json:"recipe,omitempty"`
	Starter        string   `json:"starter,omitempty"`
	Station        string   `json:"station,omitempty"`
	Target         float64  `json:"target,omitempty"`
	InoculationPct rise.Num `json:"inoculation_pct,omitzero"`
	// DoughC is the dough's temperature at the end of bulk, RoomC the room's in which it is shaped, °C.
	DoughC rise.Num `json:"dough_c,omitzero"`
	RoomC  rise.Num `json:"room_c,omitzero"`
	// BenchH is the time on the bench, ProofH that of a proof at ProofC (the room's where unknown), ColdH that in a
	// refrigerator of ColdC (4 where unknown), h and °C. Without any of them it goes straight into the cold for 12 h.
	BenchH float64  `json:"bench_h,omitempty"`
	ProofH float64  `json:"proof_h,omitempty"`
	ProofC rise.Num `json:"proof_c,omitzero"`
	ColdH  float64  `json:"cold_h,omitempty"`
	ColdC  rise.Num `json:"cold_c,omitzero"`
	// Piece is one shaped piece with what holds it. Without a mass the dough's own cooling on earlier nights counts,
	// or the run's mass of dough.
	Piece rise.Piece `json:"piece,omitzero"`
}

// Stopping answers a StopAsk.
type Stopping struct {
	rise.Stop
	// Cooling says whence it is known how fast the dough cools, Basis whence its starter's speed.
	Cooling string   `json:"cooling"`
	Basis   string   `json:"basis"`
	Hints   []string `json:"hints,omitempty"`
}

// OutcomeWanted is a bread of which nobody has told yet how it came out.
type OutcomeWanted struct {
	Run   int       `json:"run"`
	Name  string    `json:"name,omitempty"`
	Baked time.Time `json:"baked"`
}

// Comparison is several runs side by side.
type Comparison struct {
	Runs []Compared `json:"runs"`
	// Advice is at most one change for the next bake.
	Advice rise.Advice `json:"advice"`
}

// Compared is one run of a comparison.
type Compared struct {
	rise.Summary
	Bake rise.Bake `json:"bake"`
	// Hours are since the start, ThermalH the same in hours at 25 °C (none without a temperature), Multiple the multiple
	// then, one each quarter of an hour.
	Hours    []float64  `json:"hours"`
	ThermalH []float64  `json:"thermal_h,omitempty"`
	Multiple []rise.Num `json:"multiple"`
}
