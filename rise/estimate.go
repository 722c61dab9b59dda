package rise

import "time"

// Phase is where in its rise a sample is.
type Phase string

// The phases, in the order in which they come.
const (
	// PhaseSettling: fresh dough slumps; there is no base level yet.
	PhaseSettling Phase = "settling"
	// PhaseWaiting: settled, not yet rising.
	PhaseWaiting Phase = "waiting"
	PhaseRising  Phase = "rising"
	// PhaseReady: at or above the target.
	PhaseReady Phase = "ready"
	// PhasePeaked: risen as far as it will, not yet falling.
	PhasePeaked  Phase = "peaked"
	PhaseFalling Phase = "falling"
)

// Estimate is what is known at the moment of a reading from it and all earlier ones of its run.
type Estimate struct {
	// Stamp and Time are the reading's.
	Stamp
	Time time.Time `json:"time"`
	// LevelMM is the level of this reading, mm; unknown if it was bad or set aside.
	LevelMM Num `json:"level_mm"`
	// BaseMM is the base level with its standard uncertainty, mm.
	BaseMM  Num `json:"base_mm,omitzero"`
	UBaseMM Num `json:"u_base_mm,omitzero"`
	// Multiple is the smoothed volume over the volume at the base level; MultipleU its standard uncertainty (k = 1).
	Multiple  Num `json:"multiple"`
	MultipleU Num `json:"multiple_u"`
	// RatePctH is the growth in percent of the base volume per hour.
	RatePctH Num   `json:"rate_pct_h"`
	Phase    Phase `json:"phase"`
	// Forecast is the newest forecast: made on a fixed grid, not at every reading.
	Forecast Forecast `json:"forecast"`
	// DoughMultiple is the main dough's own multiple, where its temperature is known.
	DoughMultiple Num `json:"dough_multiple"`
	// DoughForecast is when the main dough reaches the target by its own temperature; zero where that is not known.
	DoughForecast Forecast `json:"dough_forecast,omitzero"`
	// DoughProbeOut tells that the dough's probe is taken to lie outside the dough: its last temperature there is held.
	DoughProbeOut bool `json:"dough_probe_out,omitempty"`
	// SetAside says why this reading was not used; empty if it was.
	SetAside string `json:"set_aside,omitempty"`
	// Event says what was noticed or done with this reading: a shift over which the curve was carried on, a jar that came
	// back; empty for nothing.
	Event string `json:"event,omitempty"`
	// Ask is a question to the baker that stays open until a rebase or an ignore answers it; empty if there is none.
	Ask string `json:"ask,omitempty"`
	// Holds lists the alerts of this run whose condition holds now, at most one per kind. The same Kind and Episode is
	// the same alert: whoever issues them does so once per (station, run, kind, episode).
	Holds []Condition `json:"holds,omitempty"`
}

// RisePct is (Multiple − 1) × 100.
func (e Estimate) RisePct() Num {
	if m, ok := e.Multiple.Get(); ok {
		return Known((m - 1) * 100)
	}
	return Num{}
}

// Forecast is when the target is expected to be reached.
type Forecast struct {
	// At is the time for which the forecast was made.
	At time.Time `json:"at,omitzero"`
	// P10, P50 and P90 are the 10, 50 and 90 % quantiles of the time of reaching the target, UTC. Each is zero where
	// the chance of ever reaching it is too small for that quantile; all are zero where Reason is set.
	P10 time.Time `json:"p10,omitzero"`
	P50 time.Time `json:"p50,omitzero"`
	P90 time.Time `json:"p90,omitzero"`
	// Chance is the probability of reaching the target at all.
	Chance Num `json:"chance,omitzero"`
	// Reason says in plain words why there is no time, or why it is not expected; empty if there is one.
	Reason string `json:"reason,omitempty"`
	// PeakMultiple is the highest multiple expected, PeakAt when.
	PeakMultiple Num       `json:"peak_multiple,omitzero"`
	PeakAt       time.Time `json:"peak_at,omitzero"`
}
