package rise

import (
	"fmt"
	"slices"
)

// nearPeakText is what is said of a starter that has come to its target: how high it usually goes, and how long it stays
// there.
func (t *Tracker) nearPeakText(p point) string {
	text := fmt.Sprintf("The starter has risen to ×%.2f.", p.multiple)
	peak, hold := usualPeak(t.past)
	top, ok := peak.Get()
	if !ok {
		return text + " How high it goes is not known yet: watch a feeding until it falls."
	}
	text += fmt.Sprintf(" It usually peaks at ×%.2f", top)
	if h, ok := hold.Get(); ok {
		text += fmt.Sprintf(" and stays near that for %s", lasting(h))
	}
	return text + "."
}

// usualPeak is the median peak of the newest five feedings that were seen to peak, and of how long they held near it, h.
func usualPeak(past []Summary) (multiple, holdH Num) {
	var peaks, holds []float64
	for _, s := range slices.Backward(past) {
		top, ok := s.Milestones.TopMultiple.Get()
		if s.Run.Kind != RunStarter || !ok || !s.Milestones.PeakH.IsKnown() || len(peaks) == 5 {
			continue
		}
		peaks = append(peaks, top)
		if h, ok := s.Milestones.HoldH.Get(); ok {
			holds = append(holds, h)
		}
	}
	return medianOf(peaks), medianOf(holds)
}
