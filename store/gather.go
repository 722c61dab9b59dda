package store

import (
	"errors"
	"fmt"
	"slices"

	"nightjar/rise"
)

// Add gathers a reading of a station, as Reading.Rounded makes it; readings come in order. It is seen by every reader
// of the DB at once, and is on the card after the next commit of anything. It never waits for the card.
func (db *DB) Add(station string, r rise.Reading) {
	r = r.Rounded()
	db.mu.Lock()
	defer db.mu.Unlock()
	if db.pending.stations == nil {
		db.pending.stations = map[string]*gathered{}
	}
	g := db.pending.stations[station]
	if g == nil {
		g = &gathered{}
		db.pending.stations[station] = g
	}
	g.add(station, r)
	if lost := g.shrink(maxGathered / len(db.pending.stations)); lost > 0 {
		db.log.Error("the disk took nothing for so long that the oldest readings had to go", "station", station, "readings", lost)
	}
}

// Flush commits the readings gathered so far. If it fails they stay in memory, and every later commit tries again.
func (db *DB) Flush() error {
	if db.Unflushed() == 0 {
		return nil
	}
	if err := db.update(func(*writer) error { return nil }); err != nil {
		return fmt.Errorf("flush readings: %w", err)
	}
	return nil
}

// Unflushed counts the readings and anchors that are not committed yet.
func (db *DB) Unflushed() int {
	db.mu.Lock()
	defer db.mu.Unlock()
	return db.pending.count() + db.flushing.count()
}

func (b *batch) count() int {
	n := len(b.anchors)
	for _, g := range b.stations {
		n += g.count()
	}
	return n
}

// take moves what waits into the transaction about to begin.
func (db *DB) take() {
	db.mu.Lock()
	defer db.mu.Unlock()
	db.flushing, db.pending = db.pending, batch{}
}

// settle forgets what was committed, or puts it back in front of what came since.
func (db *DB) settle(committed bool) {
	db.mu.Lock()
	defer db.mu.Unlock()
	old := db.flushing
	db.flushing = batch{}
	if committed {
		return
	}
	for station, g := range old.stations {
		old.stations[station] = g.before(station, db.pending.stations[station])
		delete(db.pending.stations, station)
	}
	for station, g := range db.pending.stations {
		if old.stations == nil {
			old.stations = map[string]*gathered{}
		}
		old.stations[station] = g
	}
	gone := slices.Concat(old.dropped, db.pending.dropped)
	old.anchors = slices.DeleteFunc(slices.Concat(old.anchors, db.pending.anchors), func(a rise.Anchor) bool {
		return slices.Contains(db.pending.dropped, a.Stamp)
	})
	old.dropped = gone
	db.pending = old
}

// errKnown ends a transaction without a commit, because there is nothing new.
var errKnown = errors.New("known")
