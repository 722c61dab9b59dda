package dough

import (
	"math"
	"math/rand/v2"
)

// surface is what a ranger sees above the volume: fresh dough that slumps, a dome, blisters that swell and burst.
type surface struct {
	p       Params
	rng     *rand.Rand
	slump   float64 // mm still to sink
	dome    float64 // mm
	blister float64 // mm
	growMMH float64 // growth of the blister now in view, mm/h; 0 is none
	endMM   float64 // height at which it bursts
	bursts  int
}

func (s *surface) step(h, c, multiple float64) {
	// Warm dough is softer and sinks faster: about twofold in 20 K (common practice, no source).
	s.slump *= math.Exp(-h / s.p.SlumpH * math.Exp2((c-24)/20))
	// The dome follows the rise within half an hour and flattens with the fall.
	want := s.p.Flour.DomePct / 100 * s.p.BaseMM * min(1, math.Max(0, multiple-1))
	s.dome += (want - s.dome) * -math.Expm1(-h/0.5)
	s.swell(h, multiple)
}

// swell lets blisters come, swell and burst: some in an hour once the dough is well risen.
func (s *surface) swell(h, multiple float64) {
	if s.growMMH == 0 {
		if s.rng.Float64() < h*0.35*min(2, math.Max(0, multiple-1.2)) {
			s.endMM = 0.3 + 1.8*s.rng.Float64()*s.rng.Float64()
			s.growMMH = s.endMM / (0.1 + 0.5*s.rng.Float64())
		}
		return
	}
	s.blister += s.growMMH * h
	if s.blister >= s.endMM {
		s.blister, s.growMMH = 0, 0
		s.bursts++
	}
}
