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
