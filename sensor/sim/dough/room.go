package dough

import "math"

// Room is a room's temperature over time: °C, h hours after mixing.
type Room func(h float64) float64

// Steady is a room at c °C.
func Steady(c float64) Room { return func(float64) float64 { return c } }

// Cooling is a kitchen that is left at fromC and falls towards toC with time constant tauH once the heating goes off at
// offH hours.
func Cooling(fromC, toC, offH, tauH float64) Room {
	return func(h float64) float64 {
		if h < offH {
			return fromC
		}
		return toC + (fromC-toC)*math.Exp(-(h-offH)/tauH)
	}
}

// Warming is a kitchen that cools through the night as Cooling does and is heated again from onH hours, with half an
// hour's time constant.
func Warming(fromC, toC, offH, tauH, onH float64) Room {
	night := Cooling(fromC, toC, offH, tauH)
	return func(h float64) float64 {
		if h < onH {
			return night(h)
		}
		return fromC + (night(onH)-fromC)*math.Exp(-(h-onH)/0.5)
	}
}

// Box is a proofing box that holds c °C with a thermostat's swing of ± swingC each periodH hours.
func Box(c, swingC, periodH float64) Room {
	return func(h float64) float64 { return c + swingC*math.Sin(2*math.Pi*h/periodH) }
}

// Then is room r until atH hours and next after it: into the refrigerator, out of it.
func (r Room) Then(atH float64, next Room) Room {
	return func(h float64) float64 {
		if h < atH {
			return r(h)
		}
		return next(h)
	}
}
