package api

import "nightjar/rise"

// The paths of calibration. Nothing is stored by them: a jar is, by PathAddJar, once it is whole.
const (
	// PathBurst takes one burst with a station's distance sensor and answers a rise.Burst.
	PathBurst = "POST /api/stations/{station}/burst"
	// PathFit works out a jar from what was measured: a Calibration, answered by a Calibrated.
	PathFit = "POST /api/calibration"
	// PathTare works out a run's own floor distance: a Tare, answered by a Tared.
	PathTare = "POST /api/tare"
)

// Calibration is what was measured of a jar.
type Calibration struct {
	// Jar has the name, the profile and a note; its distances are found.
	Jar rise.Jar `json:"jar"`
	// Station is whose sensor measured; its chip decides what it can see.
	Station string `json:"station"`
	// Heights are the heights at which the range is known, two or more.
	Heights []rise.Height `json:"heights"`
	// MountingMM are ranges to one target that stayed where it was, mm, the lid lifted and put back between them: four or
	// more, or none; UMountingMM is the standard uncertainty of each.
	MountingMM  []float64 `json:"mounting_mm,omitempty"`
	UMountingMM float64   `json:"u_mounting_mm,omitempty"`
	// BaseMM and Target are those of a usual sample; 0 is 30 mm and 2.
	BaseMM float64 `json:"base_mm,omitempty"`
	Target float64 `json:"target,omitempty"`
}

// Calibrated is the jar that was found.
type Calibrated struct {
	Jar rise.Jar `json:"jar"`
	// Fit says how well the heights lie on a line, WorstMM how far the worst of them, Heights[Worst], lies above it, mm.
	Fit     rise.FitWord `json:"fit"`
	WorstMM float64      `json:"worst_mm"`
	Worst   int          `json:"worst"`
	// Ability says what the jar can do, in one sentence; Warnings what to mind.
	Ability  string   `json:"ability"`
	Warnings []string `json:"warnings"`
}

// Tare is a range to a disc on the floor of an empty jar.
type Tare struct {
	// Jar is its name, or NAME@VERSION.
	Jar string `json:"jar"`
	// RangeMM is the mean range, URangeMM its standard uncertainty, DiscMM the disc's thickness, mm.
	RangeMM  float64 `json:"range_mm"`
	URangeMM float64 `json:"u_range_mm"`
	DiscMM   float64 `json:"disc_mm"`
}

// Tared is the floor distance for one run, mm, with its standard uncertainty.
type Tared struct {
	Jar      rise.Jar `json:"jar"`
	FloorMM  float64  `json:"floor_mm"`
	UFloorMM float64  `json:"u_floor_mm"`
}

// JarShown answers PathJar: the jar, and what it can do with a usual sample.
type JarShown struct {
	rise.Jar
	CanDo []string `json:"can_do"`
}
