package rise

import "time"

// Jar is a calibrated glass: how far its floor is from the ranger and how volume grows with level. A jar is versioned:
// calibrating it again makes a new version, and old runs keep the one they had.
type Jar struct {
	Name    string `json:"name"`
	Version int    `json:"version"`
	// FloorMM is the distance from the ranger to the inside of the jar's floor, UFloorMM its standard uncertainty, mm.
	FloorMM  float64 `json:"floor_mm"`
	UFloorMM float64 `json:"u_floor_mm"`
	// Scale is how many mm the surface rises for each mm by which the range shortens, found at heights measured by ruler; 0
	// is 1. It removes what walls and window do to the range with distance. UScale is its standard uncertainty, and PivotMM
	// the level, mm, at which an error of the scale shifts nothing: UFloorMM holds there.
	Scale   float64 `json:"scale,omitempty"`
	UScale  float64 `json:"u_scale,omitempty"`
	PivotMM float64 `json:"pivot_mm,omitempty"`
	// URepeatMM is how well the ranger comes back to its place when the lid is lifted and put on again, the standard
	// deviation of the floor distance, mm. It is part of the uncertainty of every run that found no floor distance of its
	// own by a tare.
	URepeatMM float64 `json:"u_repeat_mm,omitempty"`
	// Profile is the jar's inside.
	Profile Profile `json:"profile"`
	// Made is when this version was calibrated, UTC.
	Made time.Time `json:"made"`
	Note string    `json:"note,omitempty"`
}

// Shape names the family of a jar's inside.
type Shape string

// The shapes.
const (
	ShapeCylinder Shape = "cylinder"
	// ShapeCone is a cone frustum: a straight wall that leans outwards or inwards.
	ShapeCone Shape = "cone"
	// ShapePoured is any glass, by a table of poured volumes.
	ShapePoured Shape = "poured"
)

// Profile is a jar's inside: volume as a function of level.
type Profile struct {
	Shape Shape `json:"shape"`
	// DiameterMM is the inner diameter of a cylinder, or of a cone frustum at its floor.
	DiameterMM float64 `json:"diameter_mm,omitempty"`
	// Lean is a cone frustum's growth of radius per growth of level, mm/mm; negative narrows upwards.
	Lean float64 `json:"lean,omitempty"`
	// Points is the table of a poured glass, in rising order of level.
	Points []PouredPoint `json:"points,omitempty"`
}

// PouredPoint is one step of a poured table.
type PouredPoint struct {
	LevelMM  float64 `json:"level_mm"`
	VolumeML float64 `json:"volume_ml"`
}
