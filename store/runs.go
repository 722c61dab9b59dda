package store

import (
	"bytes"
	"fmt"
	"time"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// Runs returns all runs, the oldest first. Times typed by people are settled by the anchors known now.
func (db *DB) Runs() ([]rise.Run, error) {
	var runs []rise.Run
	line := db.Timeline()
	err := db.view(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketRuns).ForEach(func(k, v []byte) error {
			var r rise.Run
			if err := decode(v, &r); err != nil {
				db.damaged(fmt.Sprintf("runs %d", keyNumber(k)), err)
				return nil
			}
			runs = append(runs, resolveRun(line, r, told(tx, r.Number)))
			return nil
		})
	})
	if err != nil {
		return runs, fmt.Errorf("runs: %w", err)
	}
	return runs, nil
}

// Run returns the run with the number, or ErrNotFound.
func (db *DB) Run(n int) (rise.Run, error) {
	var r rise.Run
	line := db.Timeline()
	err := db.view(func(tx *bolt.Tx) (err error) {
		if r, err = getRun(tx, n); err == nil {
			r = resolveRun(line, r, told(tx, n))
		}
		return err
	})
	if err != nil {
		return rise.Run{}, err
	}
	return r, nil
}

// OpenRun returns the station's open run; false if it has none.
func (db *DB) OpenRun(station string) (rise.Run, bool, error) {
	var r rise.Run
	var open bool
	line := db.Timeline()
	err := db.view(func(tx *bolt.Tx) (err error) {
		if r, open, err = openRun(tx, station); open {
			r = resolveRun(line, r, told(tx, r.Number))
		}
		return err
	})
	if err != nil || !open {
		return rise.Run{}, false, err
	}
	return r, true, nil
}

// Expire ends an open run by itself: End is at, EndReason "limit". A run that has ended already is returned as it is.
func (db *DB) Expire(n int, at rise.Moment) (rise.Run, error) {
	line := db.Timeline()
	resolve(line, &at, rise.Stamp{})
	err := db.update(func(w *writer) error {
		r, err := getRun(w.Tx, n)
		if err != nil || !r.Open() {
			return err
		}
		r.End, r.EndReason = at, "limit"
		return closeRun(w, r)
	})
	if err != nil {
		return rise.Run{}, fmt.Errorf("expire: %w", err)
	}
	return db.Run(n)
}

// resolveRun settles a run's moments; told is when its start was told.
func resolveRun(line rise.Timeline, r rise.Run, told rise.Stamp) rise.Run {
	resolve(line, &r.Started, told)
	resolve(line, &r.End, rise.Stamp{})
	return r
}

// told is when the first action of a run was told, which is the one that started it.
func told(tx *bolt.Tx, n int) rise.Stamp {
	prefix := key32(uint32(n))
	k, _ := tx.Bucket(bucketActions).Cursor().Seek(prefix)
	if !bytes.HasPrefix(k, prefix) {
		return rise.Stamp{}
	}
	s, _ := keyStamp(k[len(prefix):])
	return s
}

func getRun(tx *bolt.Tx, n int) (r rise.Run, err error) {
	v := tx.Bucket(bucketRuns).Get(key32(uint32(n)))
	if n < 1 || v == nil {
		return r, hintf("'nightjar runs' lists them.", "run %d: %w", n, ErrNotFound)
	}
	if err := decode(v, &r); err != nil {
		return r, fmt.Errorf("run %d: %w", n, err)
	}
	return r, nil
}

func openRun(tx *bolt.Tx, station string) (r rise.Run, open bool, err error) {
	n := tx.Bucket(bucketOpen).Get([]byte(station))
	if n == nil {
		return r, false, nil
	}
	r, err = getRun(tx, int(keyNumber(n)))
	if err != nil || r.Station != station {
		return rise.Run{}, false, fmt.Errorf("the open run of %s, %d, is not what it was: %w", station, keyNumber(n), ErrDamaged)
	}
	return r, r.Open(), nil
}

func putRun(w *writer, r rise.Run) error {
	rec, err := encode(r)
	if err != nil {
		return err
	}
	b := w.in(bucketRuns)
	b.FillPercent = 1
	return b.Put(key32(uint32(r.Number)), rec)
}

// beginRun stores a new run under the next number and makes it the station's open one.
func beginRun(w *writer, r rise.Run) (rise.Run, error) {
	if err := cleanName("station", r.Station); err != nil {
		return r, err
	}
	if old, open, err := openRun(w.Tx, r.Station); err != nil {
		return r, err
	} else if open {
		return r, hintf(fmt.Sprintf("End run %d first: nightjar end.", old.Number),
			"station %s is watching run %d: %w", r.Station, old.Number, ErrRunOpen)
	}
	k, _ := w.Bucket(bucketRuns).Cursor().Last()
	r.Number = int(keyNumber(k)) + 1
	r.End, r.EndReason = rise.Moment{}, ""
	if err := putRun(w, r); err != nil {
		return r, err
	}
	return r, w.in(bucketOpen).Put([]byte(r.Station), key32(uint32(r.Number)))
}

// closeRun stores a run that has ended and frees its station.
func closeRun(w *writer, r rise.Run) error {
	if err := putRun(w, r); err != nil {
		return err
	}
	open := w.in(bucketOpen)
	if n := open.Get([]byte(r.Station)); n == nil || int(keyNumber(n)) != r.Number {
		return nil
	}
	return open.Delete([]byte(r.Station))
}

// sinceBoot is the whole milliseconds since the boot began, at least 1.
func sinceBoot(d time.Duration) uint64 { return uint64(max(1, d.Milliseconds())) }
