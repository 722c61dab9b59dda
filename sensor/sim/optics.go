package sim

import (
	"math"
	"math/rand/v2"
	"time"
)

// optics is how a kind of time-of-flight chip sees. Each chip's figures are chosen so that its range on white and grey
// and its noise agree with its data sheet.
type optics struct {
	// perSPAD is the rate in one receiver (SPAD) from a white card at 100 mm, Mcps; it falls with the square of the distance.
	perSPAD float64
	// aim is the whole rate that the chip aims at by switching receivers off, Mcps, and spads how many there are.
	aim, spads float64
	// noise is the standard deviation of a range, mm, for a signal of 1 Mcps without stray light and 1 s of light.
	noise float64
}

// shot is what one measurement yields.
type shot struct {
	// mm is the range with its noise, sigma the noise's standard deviation, mm; what light from a window pulls near is in.
	mm, sigma float64
	// signal and ambient are rates over the receivers in use, Mcps; crosstalk is the window's part of signal.
	signal, ambient, crosstalk float64
	// spads counts the receivers in use.
	spads float64
}

// farNoise is the most noise that is modelled, mm: without light there is no range, only some number.
const farNoise = 2000

// shoot measures a target for a time of light. A nil rng makes no noise. share is the part of the receivers that are used
// at all: 1, or less with a region of interest.
func (o optics) shoot(t Target, light time.Duration, share float64, rng *rand.Rand) shot {
	near := math.Max(t.DistanceMM, 10) // nearer, emitter and receiver no longer look at the same spot
	each := 0.0
	if !t.None {
		each = o.perSPAD * t.Reflect * math.Pow(100/near, 2)
	}
	fog := t.CrosstalkMcps / o.spads
	s := shot{spads: o.spads * share}
	if all := each + fog; all > 0 {
		s.spads = min(s.spads, max(4, o.aim/all))
	}
	s.crosstalk = fog * s.spads
	s.signal = (each + fog) * s.spads
	s.ambient = t.AmbientMcps / o.spads * s.spads
	s.sigma = farNoise
	if back := each * s.spads; back > 0 {
		s.sigma = min(farNoise, o.noise*math.Sqrt((s.signal+s.ambient)/light.Seconds())/back)
		s.mm = back / s.signal * t.DistanceMM
	}
	if rng != nil {
		s.mm += s.sigma * rng.NormFloat64()
	}
	return s
}

// compensate takes a stated rate of crosstalk per receiver, Mcps, off a shot, as the chips do. It reports false if nothing is
// left.
func (s *shot) compensate(perSPAD float64) bool {
	off := perSPAD * s.spads
	left := s.signal - off
	if off > 0 && left <= 0 {
		return false
	}
	if off > 0 {
		s.mm *= s.signal / left
		s.sigma *= s.signal / left
		s.signal = left
	}
	return true
}
