package store

import (
	"bytes"
	"fmt"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

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
