package rise

import (
	"slices"
	"time"
)

// Timeline turns stamps into wall time, and wall time back into stamps, by the anchors known so far.
//
// Within a boot the offset between wall time and boot time is that of the nearest synchronised anchor, or, while there
// is none, of the latest anchor taken: spans within a boot are then those of the boot's own clock, whatever the wall
// clock did. The zero Timeline knows no anchor.
type Timeline struct {
	boots map[uint32][]Anchor // in order of At; only synchronised ones where the boot has any
	order []uint32            // boots in rising order
}

// NewTimeline makes a timeline of anchors in any order. The slice is not kept.
func NewTimeline(anchors []Anchor) Timeline {
	all := map[uint32][]Anchor{}
	for _, a := range anchors {
		all[a.Boot] = append(all[a.Boot], a)
	}
	t := Timeline{boots: map[uint32][]Anchor{}}
	for boot, as := range all {
		slices.SortStableFunc(as, func(a, b Anchor) int { return a.Compare(b.Stamp) })
		if synced := slices.DeleteFunc(slices.Clone(as), func(a Anchor) bool { return !a.Synced }); len(synced) > 0 {
			as = synced
		} else {
			as = as[len(as)-1:]
		}
		t.boots[boot] = as
		t.order = append(t.order, boot)
	}
	slices.Sort(t.order)
	return t
}

// nearest returns the anchor of the stamp's boot that is nearest in time to it.
func (t Timeline) nearest(s Stamp) (Anchor, bool) {
	as := t.boots[s.Boot]
	if len(as) == 0 {
		return Anchor{}, false
	}
	i, _ := slices.BinarySearchFunc(as, s, func(a Anchor, s Stamp) int { return a.Compare(s) })
	if i == len(as) || (i > 0 && s.At-as[i-1].At <= as[i].At-s.At) {
		i--
	}
	return as[i], true
}

// Wall returns the stamp's wall time, UTC, and how far to believe it. Without an anchor in that boot the time is zero
// and the quality TimeUnknown.
func (t Timeline) Wall(s Stamp) (time.Time, TimeQuality) {
	a, ok := t.nearest(s)
	if !ok {
		return time.Time{}, TimeUnknown
	}
	q := TimeEstimated
	if a.Synced {
		q = TimeSynced
	}
	return a.Wall.Add(s.At - a.At).UTC(), q
}

// Stamp returns the stamp of a wall time: in the latest boot that had begun by then. It is false if no boot had, and
// for the time between two boots it gives a stamp after the end of the earlier one.
func (t Timeline) Stamp(wall time.Time) (Stamp, bool) {
	for _, boot := range slices.Backward(t.order) {
		begin, _ := t.Wall(Stamp{Boot: boot})
		if wall.Before(begin) {
			continue
		}
		s := Stamp{Boot: boot, At: wall.Sub(begin)}
		// The offset may differ along the boot: settle on the anchor nearest to the result.
		if a, ok := t.nearest(s); ok {
			s.At = max(0, a.At+wall.Sub(a.Wall))
		}
		return s, true
	}
	return Stamp{}, false
}

// Date fills in a reading's wall time.
func (t Timeline) Date(r *Reading) { r.Time, r.Quality = t.Wall(r.Stamp) }
