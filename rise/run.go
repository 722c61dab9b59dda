package rise

import "time"

// RunKind is what a run watches.
type RunKind string

// The kinds of run.
const (
	// RunDough is the bulk fermentation of a dough. It ends by itself after 24 h.
	RunDough RunKind = "dough"
	// RunStarter is a starter after a feeding. It ends by itself after 72 h.
	RunStarter RunKind = "starter"
)

// Limit is the time after which an open run of this kind ends by itself.
func (k RunKind) Limit() time.Duration {
	if k == RunStarter {
		return 72 * time.Hour
	}
	return 24 * time.Hour
}

// BaseSource is where a run's base level comes from.
type BaseSource string

// BaseByMass takes the level that SampleG fills at the dough's density: for a run started late, whose sample has risen
// already.
const BaseByMass BaseSource = "mass"

// DefaultSoonMin is how many minutes before the target the alert soon is told unless a run says otherwise.
const DefaultSoonMin = 60

// Run is a labelled window of a station's readings.
type Run struct {
	// Number counts the runs of a device from 1.
	Number  int     `json:"run"`
	Kind    RunKind `json:"kind"`
	Station string  `json:"station"`
	// Name is what the baker calls the dough or the feeding; may be empty.
	Name       string `json:"name,omitempty"`
	Jar        string `json:"jar"`
	JarVersion int    `json:"jar_version"`
	// Target is the multiple at which bulk fermentation is to end.
	Target float64 `json:"target"`
	// Plan is when the baker wants it ready, UTC; zero if no wish was given.
	Plan time.Time `json:"plan,omitzero"`
	// SoonMin is how many minutes before the target the baker wants to be told that it is near; unknown is DefaultSoonMin.
	SoonMin Num    `json:"soon_min,omitzero"`
	Recipe  string `json:"recipe,omitempty"`
	Starter string `json:"starter,omitempty"`
	// InoculationPct is the prefermented flour as a percentage of all flour.
	InoculationPct Num `json:"inoculation_pct,omitzero"`
	// HydrationPct is water as a percentage of flour, SaltPct salt.
	HydrationPct Num `json:"hydration_pct,omitzero"`
	SaltPct      Num `json:"salt_pct,omitzero"`
	// SampleG is the mass of the sample in the jar, g.
	SampleG Num `json:"sample_g,omitzero"`
	// DoughKg is the mass of the main dough, kg: how fast its temperature follows the room's.
	DoughKg Num `json:"dough_kg,omitzero"`
	// DensityGML is the settled dough's density, g/ml; unknown is DefaultDensityGML.
	DensityGML Num `json:"density_g_ml,omitzero"`
	// Flour is what the dough is made of, for how its surface domes: "wheat", "rye", or empty where nobody said.
	Flour string `json:"flour,omitempty"`
	// FloorMM is a floor distance found for this run alone by a tare, mm, with its standard uncertainty; it stands in for
	// the jar's.
	FloorMM  Num `json:"floor_mm,omitzero"`
	UFloorMM Num `json:"u_floor_mm,omitzero"`
	// RulerMM is the height of the settled dough by ruler, mm, with its standard uncertainty. Where that is smaller than the
	// floor distance's, levels count from it: the range at the base level is taken for this height.
	RulerMM  Num `json:"ruler_mm,omitzero"`
	URulerMM Num `json:"u_ruler_mm,omitzero"`
	// BaseBy says where the base level comes from; empty is BaseMM where it is given, and the settled level otherwise.
	BaseBy BaseSource `json:"base_by,omitempty"`
	// BaseMM is a base level given by the baker instead of found, mm, with its standard uncertainty UBaseMM.
	BaseMM  Num `json:"base_mm,omitzero"`
	UBaseMM Num `json:"u_base_mm,omitzero"`
	// Started is when the run began, End when it ended, both with the wall time known when they were written, UTC. A run
	// is open while End is zero.
	Started Moment `json:"started"`
	End     Moment `json:"end,omitzero"`
	// EndReason is why it ended: "end" by a person, "limit" by itself.
	EndReason string `json:"end_reason,omitempty"`
}

// Open reports whether the run has not ended.
func (r Run) Open() bool { return r.End.IsZero() }

// Moment is a point in time as stored: the stamp that orders it, and the wall time, UTC. A time that a person typed is
// kept as typed in Wall with Typed set, and its stamp is what the anchors made of it.
type Moment struct {
	Stamp
	Wall  time.Time `json:"time"`
	Typed bool      `json:"typed,omitempty"`
}

// IsZero reports whether the moment is unset.
func (m Moment) IsZero() bool { return m.Stamp.IsZero() && m.Wall.IsZero() }

// Summary is what a finished run teaches about its starter: the input to the priors of later runs.
type Summary struct {
	Run Run `json:"run"`
	// Algorithm is the version of the fold that made the summary; another version means: fold again.
	Algorithm int `json:"algorithm"`
	// BaseMM is the base level, mm; PeakMultiple the highest multiple, PeakAt the time to it from the start.
	BaseMM       Num `json:"base_mm,omitzero"`
	PeakMultiple Num `json:"peak_multiple,omitzero"`
	PeakHours    Num `json:"peak_h,omitzero"`
	// TargetHours is the time from the start to the target, h.
	TargetHours Num `json:"target_h,omitzero"`
	// MeanC is the mean temperature of the sample from the start to the target or the end, °C.
	MeanC Num `json:"mean_c,omitzero"`
	// Growth holds the run's growth parameters, in the terms and scale of the fitted model.
	Growth []float64 `json:"growth,omitempty"`
	// Milestones are the times and heights that its curve shows: what a starter's vigour is read from.
	Milestones Milestones `json:"milestones,omitzero"`
}

// Case is all that a fold of one run needs.
type Case struct {
	Run Run
	Jar Jar
	// Past holds the summaries of the same starter's runs that ended before this one began.
	Past []Summary
	// Actions are those of the run and Readings those of its station from the run's start to its end, both in order.
	Actions  []Action
	Readings []Reading
}
