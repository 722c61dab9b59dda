package store

import (
	"bytes"
	"fmt"
	"slices"
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
	return r, err == nil && r.Open(), err
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

// Case returns all that a fold of the run needs: its jar, its actions, its station's readings from its start to its
// end, and the summaries of the same starter's runs that ended before it began. A run without a jar has a zero Jar.
func (db *DB) Case(n int) (rise.Case, error) {
	run, err := db.Run(n)
	if err != nil {
		return rise.Case{}, err
	}
	c := rise.Case{Run: run}
	if run.Jar != "" {
		if c.Jar, err = db.Jar(run.Jar, run.JarVersion); err != nil {
			return c, fmt.Errorf("run %d: %w", n, err)
		}
	}
	if c.Actions, err = db.Actions(n); err != nil {
		return c, err
	}
	if c.Past, err = db.past(run); err != nil {
		return c, err
	}
	to := LastStamp
	if !run.Open() {
		to = run.End.Stamp
	}
	for r, err := range db.Readings(run.Station, run.Started.Stamp, to) {
		if err != nil {
			return c, fmt.Errorf("run %d: %w", n, err)
		}
		c.Readings = append(c.Readings, r)
	}
	return c, nil
}

func (db *DB) past(run rise.Run) ([]rise.Summary, error) {
	if run.Starter == "" {
		return nil, nil
	}
	all, err := db.Summaries(run.Starter)
	return slices.DeleteFunc(all, func(s rise.Summary) bool {
		return s.Run.Open() || s.Run.Number == run.Number || run.Started.Before(s.Run.End.Stamp)
	}), err
}

// PutSummary keeps what a finished run teaches. It is a cache: a summary by another algorithm replaces it.
func (db *DB) PutSummary(s rise.Summary) error {
	rec, err := encode(s)
	if err != nil {
		return err
	}
	return db.update(func(w *writer) error {
		return w.in(bucketSummaries).Put(key32(uint32(s.Run.Number)), rec)
	})
}

// Summaries returns the summaries kept of a starter's runs, the oldest first, whatever algorithm made them.
func (db *DB) Summaries(starter string) ([]rise.Summary, error) {
	var all []rise.Summary
	line := db.Timeline()
	err := db.view(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketSummaries).ForEach(func(k, v []byte) error {
			var s rise.Summary
			if err := decode(v, &s); err != nil {
				db.damaged(fmt.Sprintf("summaries %d", keyNumber(k)), err)
			} else if s.Run.Starter == starter {
				s.Run = resolveRun(line, s.Run, told(tx, s.Run.Number))
				all = append(all, s)
			}
			return nil
		})
	})
	if err != nil {
		return all, fmt.Errorf("summaries of %s: %w", starter, err)
	}
	return all, nil
}

// Actions returns the actions of a run in the order in which they were told; run 0 is for those of no run.
func (db *DB) Actions(run int) ([]rise.Action, error) {
	var as []rise.Action
	line := db.Timeline()
	prefix := key32(uint32(run))
	err := db.view(func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketActions).Cursor()
		for k, v := c.Seek(prefix); bytes.HasPrefix(k, prefix); k, v = c.Next() {
			var a rise.Action
			if err := decode(v, &a); err != nil {
				db.damaged(fmt.Sprintf("actions of run %d %x", run, k), err)
				continue
			}
			as = append(as, resolveAction(line, a))
		}
		return nil
	})
	if err != nil {
		return as, fmt.Errorf("actions of run %d: %w", run, err)
	}
	return as, nil
}

func resolveAction(line rise.Timeline, a rise.Action) rise.Action {
	resolve(line, &a.At, rise.Stamp{})
	resolve(line, &a.When, a.At.Stamp)
	if a.Start != nil {
		r := resolveRun(line, *a.Start, a.At.Stamp)
		a.Start = &r
	}
	return a
}

// sinceBoot is the whole milliseconds since the boot began, at least 1.
func sinceBoot(d time.Duration) uint64 { return uint64(max(1, d.Milliseconds())) }
