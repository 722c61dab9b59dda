package dough

import "math"

// Body is a lump that follows the room's temperature: T' = (room − T)/TauH.
type Body struct {
	// C is its temperature, °C, TauH its time constant, h.
	C, TauH float64
}

// Step advances the body by h hours in a room of roomC °C.
func (b *Body) Step(h, roomC float64) { b.C += (roomC - b.C) * -math.Expm1(-h/b.TauH) }
