package rise

import (
	"fmt"
	"math"
)

// Average is the mean range of a target that stands still, taken burst by burst until it is known well enough. The zero
// value is ready.
type Average struct {
	means, signals []float64
	noise          noise
	white, round   float64
}

// Averaged is how far an average has come.
type Averaged struct {
	// RangeMM is the mean, UMM its standard uncertainty, mm.
	RangeMM, UMM float64
	// Bursts counts those taken in.
	Bursts int
	// Problem says why the target cannot be used; empty if it can.
	Problem string
}

// The average's limits.
const (
	leastBursts = 5
	// driftMM is how far a still target may seem to move while it is looked at.
	driftMM = 0.6
)

// Add takes a burst in. It reports false, and takes nothing, if the burst has no range.
func (a *Average) Add(b Burst) bool {
	d, ok := b.RangeMM.Get()
	if !ok {
		return false
	}
	white, rounding := a.noise.of(Reading{Burst: b}, d)
	a.white += (white - a.white) / float64(len(a.means)+1)
	a.round = math.Max(a.round, rounding)
	a.means = append(a.means, d)
	a.signals = append(a.signals, b.SignalMcps.Or(math.NaN()))
	return true
}

// State is the average so far. The uncertainty is the larger of what the bursts promise and what they show.
func (a *Average) State() Averaged {
	n := float64(len(a.means))
	if n == 0 {
		return Averaged{Problem: "no range yet"}
	}
	mean := 0.0
	for _, m := range a.means {
		mean += m / n
	}
	sum := 0.0
	for _, m := range a.means {
		sum += (m - mean) * (m - mean)
	}
	shown := a.white
	if n >= leastBursts {
		shown = math.Max(a.white, sum/(n-1))
	}
	s := Averaged{RangeMM: mean, UMM: math.Sqrt(shown/n + a.round), Bursts: len(a.means)}
	if n >= leastBursts {
		s.Problem = a.problem(sum / (n - 1))
	}
	return s
}

// Done reports whether the wanted uncertainty is reached without a problem. Rounding that does not average out, on a
// target that is quieter than the ranger's step, counts as reached.
func (a *Average) Done(wantMM float64) bool {
	s := a.State()
	return s.Problem == "" && s.Bursts >= leastBursts && math.Sqrt(max(0, s.UMM*s.UMM-a.round)) <= wantMM
}

// problem tells a target that moves: one that wanders as a whole, one that rocks from burst to burst.
func (a *Average) problem(variance float64) string {
	moved, u := drift(a.means, a.white)
	brighter, uBright := drift(a.signals, 0)
	switch {
	case math.Abs(moved) > max(driftMM, 4*u) && brighter < -3*uBright && moved < 0:
		return "the range shortens while less light comes back: wipe the sensor's window"
	case math.Abs(moved) > max(driftMM, 4*u):
		return fmt.Sprintf("the range drifts by %.1f mm: let the sensor warm up for 10 minutes, then begin again", moved)
	case variance > 9*(a.white+a.round) && variance > driftMM*driftMM/4:
		return fmt.Sprintf("the range jumps by %.1f mm from burst to burst: set the jar so that it does not rock", math.Sqrt(variance))
	}
	return ""
}

// drift is how much a series changes from its first to its last value by a straight line, with its standard uncertainty
// from the scatter about the line, a value's variance being at least so much; 0 where it is not known throughout.
func drift(ys []float64, variance float64) (change, u float64) {
	n := len(ys)
	x, w := make([]float64, n), make([]float64, n)
	for i, y := range ys {
		if math.IsNaN(y) {
			return 0, 0
		}
		x[i], w[i] = float64(i)/float64(n-1), 1
	}
	l, ok := fitLine(x, ys, w)
	if !ok || l.dof < 1 {
		return 0, 0
	}
	return l.slope, l.uSlope * math.Sqrt(max(variance, l.chi2/float64(l.dof)))
}
