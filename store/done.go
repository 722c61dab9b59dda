package store

import (
	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// Done returns the action that was done under a caller's id, with the run that it started, ended or belongs to, as Act
// would answer it again; false if none was.
func (db *DB) Done(id string) (rise.Action, *rise.Run, bool, error) {
	d := deed{a: rise.Action{ID: id}, line: db.Timeline()}
	var known bool
	err := db.view(func(tx *bolt.Tx) (err error) {
		known, err = d.known(tx)
		return err
	})
	if err != nil || !known {
		return rise.Action{}, nil, false, err
	}
	return resolveAction(d.line, d.a), d.resolvedRun(), true, nil
}
