package rise

import "time"

// ActionKind is what a person did.
type ActionKind string

// The kinds of action.
const (
	ActionStart   ActionKind = "start"
	ActionEnd     ActionKind = "end"
	ActionNote    ActionKind = "note"
	ActionFeed    ActionKind = "feed"
	ActionAck     ActionKind = "ack"
	ActionSnooze  ActionKind = "snooze"
	ActionRebase  ActionKind = "rebase"
	ActionIgnore  ActionKind = "ignore"
	ActionMark    ActionKind = "mark"
	ActionOutcome ActionKind = "outcome"
)

// ActionKinds lists every kind.
var ActionKinds = []ActionKind{ActionStart, ActionEnd, ActionNote, ActionFeed, ActionAck, ActionSnooze, ActionRebase, ActionIgnore, ActionMark, ActionOutcome}

// Marks lists what a mark may say happened.
var Marks = []string{"mixed", "folded", "divided", "shaped", "chilled", "baked"}

// Action is something a person did. It is stored before it is answered and never changed.
type Action struct {
	// ID is the caller's own id. The same id is the same action: it is done once and answered again.
	ID   string     `json:"id"`
	Kind ActionKind `json:"kind"`
	// Station is where; may be left out where there is only one.
	Station string `json:"station,omitempty"`
	// Run is the run it belongs to; 0 is the station's open one.
	Run int `json:"run,omitempty"`
	// When is when it was done, At when the daemon was told. In a request both are left out, or When.Wall (JSON
	// "time") is given to backdate it.
	When Moment `json:"when,omitzero"`
	At   Moment `json:"at,omitzero"`

	// Text is a note's words, or those beside any other action.
	Text string `json:"text,omitempty"`
	// Start is the run to start (its number, station, start and end are filled in by the daemon).
	Start *Run `json:"start,omitempty"`
	// Feed is a feeding; with a station it opens a starter run there.
	Feed *Feeding `json:"feed,omitempty"`
	// Mark is one of Marks.
	Mark string `json:"mark,omitempty"`
	// Alert is the id of the alert acknowledged or snoozed; empty is every active one of the station.
	Alert string `json:"alert,omitempty"`
	// Minutes is how long to snooze.
	Minutes int `json:"minutes,omitempty"`
	// LevelMM is the level that a rebase makes the base; unknown is the level at that time.
	LevelMM Num `json:"level_mm,omitzero"`
	// From and To bound the readings to ignore, UTC.
	From time.Time `json:"from,omitzero"`
	To   time.Time `json:"to,omitzero"`
	// DoughC is the main dough's temperature by a kitchen thermometer, °C.
	DoughC Num `json:"dough_c,omitzero"`
	// Outcome is how the bake came out.
	Outcome *Outcome `json:"outcome,omitempty"`
}

// Feeding is what a starter was given.
type Feeding struct {
	Starter string `json:"starter"`
	// SeedG, FlourG and WaterG are grams of ripe starter kept, flour and water.
	SeedG  float64 `json:"seed_g"`
	FlourG float64 `json:"flour_g"`
	WaterG float64 `json:"water_g"`
	// Flours names the flour's shares, which add up to 1; empty is the starter's usual flour.
	Flours map[string]float64 `json:"flours,omitempty"`
	// TempC is the temperature of the mix, °C.
	TempC Num `json:"temp_c,omitzero"`
}

// Outcome is how a bake came out, in the baker's words.
type Outcome struct {
	Spread   string `json:"spread,omitempty"`
	Crumb    string `json:"crumb,omitempty"`
	Crust    string `json:"crust,omitempty"`
	Sourness string `json:"sourness,omitempty"`
}
