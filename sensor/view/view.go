// Package view knows how a ranger looks into a jar: how wide its cone is at a distance, how near and how far it can be
// trusted, and whether a jar suits it.
//
// Angles and distances are the chips' data sheets' (VL53L4CD DS13812 Rev 3, VL53L1X DocID031281 Rev 2, VL53L0X DS11555 Rev
// 6, VL6180X DocID026171 Rev 7); that of the VL6180X is from memory. A spot is taken as 2 d tan(angle/2), that of a point
// source: emitter and receiver lie some millimetres apart, which adds 2 to 4 mm.
package view

import (
	"fmt"
	"math"
	"slices"
)

// View is how a chip looks.
type View struct {
	// Chip is its name in a configuration.
	Chip string
	// Degrees is the full angle of the cone that must not meet a wall.
	Degrees float64
	// NearestMM is the distance from which its ranges can be trusted, FarthestMM that up to which they can, on dough, mm.
	NearestMM, FarthestMM float64
}

// views are in the order in which they suit a jar.
var views = []View{
	// 22° within 100 mm, 18° at 1 m; linear from 1 mm on, but plan for 10; grey 17 % to 450 mm.
	{"vl53l4cd", 22, 10, 450},
	// Whatever the region of interest, the emitter lights 27° (AN5191); nearer than 40 mm it is inaccurate.
	{"vl53l1x", 27, 40, 450},
	// 0 to 100 mm, more depending on the target; 25° is from memory.
	{"vl6180x", 25, 10, 100},
	// 25°; 30 to 50 mm.
	{"vl53l0x", 25, 50, 700},
}

// Of returns how a chip looks; false for one that is not known.
func Of(chip string) (View, bool) {
	i := slices.IndexFunc(views, func(v View) bool { return v.Chip == chip })
	if i < 0 {
		return View{}, false
	}
	return views[i], true
}

// Chips lists the known chips, the best for a jar first.
func Chips() []string {
	var names []string
	for _, v := range views {
		names = append(names, v.Chip)
	}
	return names
}

// SpotMM is the diameter of the cone at a distance, both mm.
func (v View) SpotMM(distanceMM float64) float64 { return 2 * distanceMM * v.tan() }

// DepthMM is the distance at which a cone in the middle of a jar of an inner diameter meets the wall, both mm.
func (v View) DepthMM(diameterMM float64) float64 { return diameterMM / 2 / v.tan() }

func (v View) tan() float64 { return math.Tan(v.Degrees / 2 * math.Pi / 180) }

// Doubts says what speaks against a jar, for people and with the numbers; nothing if it suits. floorMM is the distance of its
// floor, diameterMM its inner diameter, highestMM the highest level that the dough is to reach; a 0 is not known and not
// looked at.
func (v View) Doubts(floorMM, diameterMM, highestMM float64) []string {
	var doubts []string
	if spot := v.SpotMM(floorMM); floorMM > 0 && diameterMM > 0 && spot > diameterMM {
		doubts = append(doubts, fmt.Sprintf("at the jar's floor, %.0f mm away, the %s looks at a spot %.0f mm wide, the jar is %.0f mm wide: "+
			"it sees the walls; put it at most %.0f mm above the floor, or calibrate in this very jar at known heights",
			floorMM, v.Chip, spot, diameterMM, v.DepthMM(diameterMM)))
	}
	if floorMM > v.FarthestMM {
		doubts = append(doubts, fmt.Sprintf("the jar's floor is %.0f mm away, the %s sees dough up to about %.0f mm", floorMM, v.Chip, v.FarthestMM))
	}
	if left := floorMM - highestMM; floorMM > 0 && highestMM > 0 && left < v.NearestMM {
		doubts = append(doubts, fmt.Sprintf("at a level of %.0f mm the dough is %.0f mm from the %s, which needs %.0f mm: "+
			"mount it %.0f mm higher or take less dough", highestMM, left, v.Chip, v.NearestMM, math.Ceil(v.NearestMM-left)))
	}
	return doubts
}
