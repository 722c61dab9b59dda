// Package view knows how each ranger looks into a jar: how wide its cone is, how near and how far it can be trusted.
//
// Angles and distances are the chips' data sheets' (VL53L4CD DS13812 Rev 3, VL53L1X DocID031281 Rev 2, VL53L0X DS11555 Rev
// 6, VL6180X DocID026171 Rev 7); the angle of the VL6180X is from memory. A spot is that of a point source: emitter and
// receiver lie some millimetres apart, which adds 2 to 4 mm. What a jar can do under a ranger, package rise works out.
package view

import (
	"slices"

	"nightjar/rise"
)

// View is how a chip looks. Its Optics are the full angle of the cone that must not meet a wall and the distance from which
// its ranges can be trusted.
type View struct {
	// Chip is its name in a configuration.
	Chip string
	rise.Optics
	// FarthestMM is the distance up to which its ranges on dough can be trusted, mm.
	FarthestMM float64
}

// views are in the order in which they suit a jar.
var views = []View{
	// 22° within 100 mm, 18° at 1 m; linear from 1 mm on, but plan for 10; grey 17 % to 450 mm.
	{"vl53l4cd", rise.Optics{ConeDeg: 22, NearestMM: 10}, 450},
	// Whatever the region of interest, the emitter lights 27° (AN5191); nearer than 40 mm it is inaccurate.
	{"vl53l1x", rise.Optics{ConeDeg: 27, NearestMM: 40}, 450},
	// 0 to 100 mm, more depending on the target; 25° is from memory.
	{"vl6180x", rise.Optics{ConeDeg: 25, NearestMM: 10}, 100},
	// 25°; from some 30 to 50 mm on.
	{"vl53l0x", rise.Optics{ConeDeg: 25, NearestMM: 40}, 700},
}

// Of returns how a chip looks; one that is not known, or not known yet, looks as the first choice for a jar does.
func Of(chip string) View {
	i := slices.IndexFunc(views, func(v View) bool { return v.Chip == chip })
	return views[max(i, 0)]
}

// Chips lists the known chips, the best for a jar first.
func Chips() []string {
	var names []string
	for _, v := range views {
		names = append(names, v.Chip)
	}
	return names
}
