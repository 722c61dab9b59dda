package rise

// latch turns a condition on once it has been asked for in several readings and for a while, and off in the same way.
type latch struct {
	on   bool
	cond Condition
	// n counts the readings in a row that asked for a change, since is the run time of the first, h.
	n     int
	since float64
}

// proof is what a change needs: readings in a row, and the hours that they span.
type proof struct {
	n     int
	hours float64
}

// news is what a step is told with: so many readings, the first of them at first and the last at now.
type news struct {
	n          int
	first, now float64
}

// step takes readings that ask for on, or for release where it is on. It reports whether the latch turned on.
func (l *latch) step(ask, release bool, by news, need proof) bool {
	if l.on && !release || !l.on && !ask {
		l.n = 0
		return false
	}
	if l.n == 0 {
		l.since = by.first
	}
	l.n += by.n
	if l.n < need.n || by.now-l.since < need.hours {
		return false
	}
	l.on, l.n = !l.on, 0
	if l.on {
		l.cond.Episode++
	}
	return l.on
}

// drop turns the latch off at once.
func (l *latch) drop() { l.on, l.n = false, 0 }
