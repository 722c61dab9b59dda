package rise

import "time"

// runClock turns stamps into hours of run time. Within a boot it goes by the boot's own clock, whatever the wall clock
// did; from one boot to the next by the wall time, where both sides have one.
type runClock struct {
	last  Stamp
	wall  time.Time
	hours float64
	set   bool
	// sure tells that the last reading's wall time can be believed, leapt that a time of unknown length lies before it.
	sure, leapt bool
}

// newRunClock starts at a run's start; at the zero Moment it starts with the first reading.
func newRunClock(started Moment) runClock {
	if started.IsZero() {
		return runClock{}
	}
	return runClock{last: started.Stamp, wall: started.Wall, set: true, sure: true}
}

// advance moves the clock to a reading and returns the hours since the start. It is false, and the clock stays, where
// the reading is before the last one. A recording that says nothing of its times' quality is believed.
func (c *runClock) advance(r Reading) (float64, bool) {
	h, ok := c.at(r.Stamp, r.Time)
	if ok {
		sure := r.Quality == TimeSynced || r.Quality == ""
		c.leapt = c.set && r.Boot != c.last.Boot && !(sure && c.sure)
		c.last, c.wall, c.hours, c.set, c.sure = r.Stamp, r.Time, h, true, sure
	}
	return h, ok
}

// at is the run time of a stamp that is not before the last one. A gap between boots of unknown length counts as none.
func (c *runClock) at(s Stamp, wall time.Time) (float64, bool) {
	switch {
	case !c.set:
		return 0, true
	case s.Before(c.last):
		return c.hours, false
	case s.Boot == c.last.Boot:
		return c.hours + (s.At - c.last.At).Hours(), true
	case wall.IsZero() || c.wall.IsZero():
		return c.hours, true
	}
	return c.hours + max(0, wall.Sub(c.wall).Hours()), true
}
