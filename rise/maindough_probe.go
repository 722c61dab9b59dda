package rise

import "math"

// doughProbe tells a probe in the main dough from one that lies beside it: pulled out for a fold or fallen out, it steps
// to the room's temperature within minutes, faster than any dough can.
type doughProbe struct {
	// lastC was believed at lastAt, h.
	lastC, lastAt float64
	seen          bool
	// out is set while the probe is out, since outAt, h.
	out   bool
	outAt float64
}

// A dough of half a kilogram out of a warm kitchen into a refrigerator cools by 12 °C per hour at first (20 °C by a time
// constant of 1.7 h); a probe in air moves by whole degrees within minutes (common practice, no source).
const (
	doughPerHour = 12.0 // °C/h
	probeStepC   = 0.8  // °C
	probeBackC   = 0.7  // °C from what the dough must have by now
	probeHours   = 3.0  // after which a probe that stays where it is counts as in the dough again
	probeFresh   = 3.0 / 60
)

// believed reports whether a probe's temperature is the dough's. expected is what the dough should have, roomC what air
// around it has.
func (p *doughProbe) believed(hours, c float64, expected Num, roomC float64) bool {
	dough, known := expected.Get()
	switch {
	case !p.seen || !known:
		p.keep(hours, c)
	case p.out:
		if math.Abs(c-dough) <= probeBackC || hours-p.outAt > probeHours {
			p.out = false
			p.keep(hours, c)
		}
	default:
		moved := math.Abs(c - p.lastC)
		towards := math.Abs(c-roomC) < math.Abs(p.lastC-roomC)
		if towards && moved > probeStepC+doughPerHour*(hours-p.lastAt) {
			p.out, p.outAt = true, hours
		} else if hours-p.lastAt >= probeFresh {
			p.keep(hours, c)
		}
	}
	return !p.out
}

func (p *doughProbe) keep(hours, c float64) { p.lastC, p.lastAt, p.seen = c, hours, true }
