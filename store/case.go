package store

import (
	"fmt"
	"slices"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

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
