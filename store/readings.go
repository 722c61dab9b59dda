package store

import (
	"bytes"
	"fmt"
	"iter"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// chunksAtOnce is how many chunks are copied in one read transaction: a day or two of readings, that stay in the cache.
const chunksAtOnce = 8

// LastStamp is later than every reading, for asking for all from some moment on.
var LastStamp = rise.Stamp{Boot: 1<<32 - 1, At: 1<<63 - 1}

// Readings returns a station's readings from one stamp to another, both included, in order, with wall times by the
// anchors known when the loop begins. Those not yet committed are among them. No transaction is open while the loop's
// body runs, so it may take as long as it likes.
//
// A damaged chunk is left out and noted (see Damaged). An error means that reading ended early.
func (db *DB) Readings(station string, from, to rise.Stamp) iter.Seq2[rise.Reading, error] {
	return func(yield func(rise.Reading, error) bool) {
		line := db.Timeline()
		w := walk{db: db, station: station, next: appendStamp(nil, from)}
		for !w.done {
			rs, err := w.more()
			if err != nil {
				yield(rise.Reading{}, fmt.Errorf("readings of %s: %w", station, err))
				return
			}
			for _, r := range rs {
				switch {
				case r.Before(from):
					continue
				case to.Before(r.Stamp):
					return
				}
				line.Date(&r)
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}

// walk copies a station's chunks a few at a time, and after the last one the readings still in memory.
type walk struct {
	db      *DB
	station string
	next    []byte // the key to begin at; once begun, the one to begin after
	begun   bool
	done    bool
	d       chunkDecoder
	copied  [][]byte
	rs      []rise.Reading
}

func (w *walk) more() ([]rise.Reading, error) {
	w.db.commit.RLock()
	w.copied = w.copied[:0]
	err := w.db.view(func(tx *bolt.Tx) error {
		w.copy(tx.Bucket(bucketReadings).Bucket([]byte(w.station)))
		return nil
	})
	var waiting []*gathered
	if w.done {
		waiting = w.db.waiting(w.station)
	}
	w.db.commit.RUnlock()
	if err != nil {
		return nil, err
	}
	w.rs = w.rs[:0]
	for _, c := range w.copied {
		w.decode(c)
	}
	for _, g := range waiting {
		if w.rs, err = g.readings(&w.d, w.rs); err != nil {
			return nil, err
		}
	}
	return w.rs, nil
}

// copy copies the next chunks, key and record in one slice.
func (w *walk) copy(b *bolt.Bucket) {
	if b == nil {
		w.done = true
		return
	}
	c := b.Cursor()
	at := w.next
	k, v := c.Seek(at)
	switch {
	case !w.begun:
		// The chunk that begins before the first stamp asked for may hold it.
		if pk, pv := prev(c, k); pk != nil && !bytes.Equal(k, at) {
			k, v = pk, pv
		} else {
			k, v = c.Seek(at)
		}
		w.begun = true
	case bytes.Equal(k, at):
		k, v = c.Next()
	}
	for ; k != nil && len(w.copied) < chunksAtOnce; k, v = c.Next() {
		w.copied = append(w.copied, append(bytes.Clone(k), v...))
		w.next = bytes.Clone(k)
	}
	w.done = k == nil
}

func (w *walk) decode(c []byte) {
	if len(c) < 12 {
		return
	}
	k, v := c[:12], c[12:]
	n := len(w.rs)
	station, rs, err := w.d.decode(v, w.rs)
	if err == nil && (station != w.station || !bytes.Equal(appendStamp(nil, rs[n].Stamp), k)) {
		err = fmt.Errorf("readings of another place (%s, %v): %w", station, rs[n].Stamp, ErrDamaged)
		rs = rs[:n]
	}
	if err != nil {
		w.db.damaged(fmt.Sprintf("readings %s %x", w.station, k), err)
	}
	w.rs = rs
}

// waiting returns copies of what waits in memory, oldest first. The caller holds commit.
func (db *DB) waiting(station string) (gs []*gathered) {
	db.mu.Lock()
	defer db.mu.Unlock()
	for _, b := range []*batch{&db.flushing, &db.pending} {
		if g := b.stations[station]; g != nil {
			c := *g
			c.chunks = append([][]byte(nil), g.chunks...)
			c.tail = append([]rise.Reading(nil), g.tail...)
			gs = append(gs, &c)
		}
	}
	return gs
}

// LastReading returns a station's newest reading, with its wall time; false if there is none.
func (db *DB) LastReading(station string) (rise.Reading, bool, error) {
	if gs := db.waiting(station); len(gs) > 0 {
		if r := gs[len(gs)-1].last; !r.Stamp.IsZero() {
			db.Timeline().Date(&r)
			return r, true, nil
		}
	}
	var last rise.Reading
	var found bool
	err := db.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(bucketReadings).Bucket([]byte(station))
		if b == nil {
			return nil
		}
		var d chunkDecoder
		c := b.Cursor()
		for k, v := c.Last(); k != nil && !found; k, v = c.Prev() {
			_, rs, err := d.decode(bytes.Clone(v), nil)
			if err != nil {
				db.damaged(fmt.Sprintf("readings %s %x", station, k), err)
				continue
			}
			last, found = rs[len(rs)-1], true
		}
		return nil
	})
	if err != nil {
		return rise.Reading{}, false, fmt.Errorf("last reading of %s: %w", station, err)
	}
	db.Timeline().Date(&last)
	return last, found, nil
}

// Stations lists the stations that have readings.
func (db *DB) Stations() ([]string, error) {
	seen := map[string]bool{}
	var names []string
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	err := db.view(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketReadings).ForEachBucket(func(k []byte) error {
			add(string(k))
			return nil
		})
	})
	db.mu.Lock()
	defer db.mu.Unlock()
	for _, b := range []*batch{&db.flushing, &db.pending} {
		for name := range b.stations {
			add(name)
		}
	}
	return names, err
}
