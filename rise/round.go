package rise

import (
	"math"
	"time"
)

// The steps in which the numbers of a Reading are kept, per unit. A DS18B20's sixteenths of a degree and every whole
// millidegree are whole steps; a ranger's registers of rates hold 1/128 of 10⁶ counts a second.
const (
	StepsPerMM   = 100
	StepsPerMcps = 100
	StepsPerC    = 10000
	StepsPerPct  = 100
)

// maxSteps is beyond everything physical and within what a float64 counts exactly.
const maxSteps = 1e15

// Steps is the number in whole steps of 1/per, rounded half away from zero. It is false if the number is unknown or
// beyond 10¹⁵ steps.
func (n Num) Steps(per float64) (int64, bool) {
	s := math.Round(n.v * per)
	if !n.ok || math.Abs(s) > maxSteps {
		return 0, false
	}
	return int64(s), true
}

// FromSteps is the number of s steps of 1/per.
func FromSteps(s int64, per float64) Num { return Num{v: float64(s) / per, ok: true} }

func (n Num) rounded(per float64) Num {
	if s, ok := n.Steps(per); ok {
		return FromSteps(s, per)
	}
	return Num{}
}

// Rounded is the reading in the steps in which it is kept: whole milliseconds of boot time, 0.01 mm, 0.0001 °C, 0.01 %
// and 0.01 × 10⁶ counts a second. A reading is rounded before it is folded, so that what is shown while it is taken
// and what is computed from the store or from a recording is the same. Rounding twice changes nothing.
func (r Reading) Rounded() Reading {
	r.At = r.At.Truncate(time.Millisecond)
	for _, n := range []*Num{&r.RangeMM, &r.SpreadMM, &r.SigmaMM, &r.LevelMM} {
		*n = n.rounded(StepsPerMM)
	}
	for _, n := range []*Num{&r.SignalMcps, &r.AmbientMcps} {
		*n = n.rounded(StepsPerMcps)
	}
	for _, n := range []*Num{&r.JarC, &r.DoughC, &r.RoomC} {
		*n = n.rounded(StepsPerC)
	}
	r.RoomRH = r.RoomRH.rounded(StepsPerPct)
	return r
}
