package store

import (
	"encoding/binary"
	"errors"
	"fmt"

	bolt "go.etcd.io/bbolt"
)

// steps brings a store from schema i to schema i + 1, each in a transaction of its own. Steps are only added, and what
// an old one does never changes.
var steps = []func(tx *bolt.Tx) error{
	func(tx *bolt.Tx) error {
		for _, name := range [][]byte{
			bucketBoots, bucketAnchors, bucketReadings, bucketActions, bucketActionIDs, bucketRuns, bucketOpen, bucketJars,
			bucketStarters, bucketRecipes, bucketSummaries, bucketAlerts, bucketAlertIDs, bucketActive, bucketOutbox, bucketSettled,
		} {
			if _, err := tx.CreateBucketIfNotExists(name); err != nil {
				return err
			}
		}
		return nil
	},
}

// schema is the number of the schema that this program writes.
func schema() int { return len(steps) }

// schemaOf is the schema of a file, 0 for one that has none yet.
func schemaOf(tx *bolt.Tx) (int, error) {
	meta := tx.Bucket(bucketMeta)
	if meta == nil {
		switch k, _ := tx.Cursor().First(); {
		case k == nil:
			return 0, nil
		case tx.Bucket(bucketReadings) != nil && tx.Bucket(bucketActions) != nil:
			return 0, fmt.Errorf("no meta bucket: %w", ErrDamaged)
		}
		return 0, errForeign
	}
	n := meta.Get(keySchema)
	if len(n) != 4 {
		return 0, fmt.Errorf("schema of %d bytes: %w", len(n), ErrDamaged)
	}
	return int(binary.BigEndian.Uint32(n)), nil
}

// errForeign: the file is sound, and not a store.
var errForeign = hintf("Name another file for the store.", "another program's file: %w", ErrInvalid)

// checkSchema refuses a schema that this program does not know.
func checkSchema(have int) error {
	if have <= schema() {
		return nil
	}
	return hintf("Install the version that wrote it, or a later one.", "schema %d, this program knows %d: %w", have, schema(), ErrNewer)
}

// migrate brings a file to the current schema; one that is newer is not touched.
func migrate(b *bolt.DB) error {
	var have int
	err := b.View(func(tx *bolt.Tx) (err error) {
		have, err = schemaOf(tx)
		return err
	})
	switch {
	case err != nil:
		return err
	case have > schema():
		return checkSchema(have)
	case have < schema() && b.IsReadOnly():
		return hintf("Start 'nightjar watch' once, which brings the store up to date.", "schema %d is older than %d: %w", have, schema(), ErrReadOnly)
	}
	for i := have; i < schema(); i++ {
		if err := b.Update(func(tx *bolt.Tx) error { return step(tx, i) }); err != nil {
			return fmt.Errorf("bring schema %d to %d: %w", i, i+1, err)
		}
	}
	return nil
}

func step(tx *bolt.Tx, i int) error {
	meta, err := tx.CreateBucketIfNotExists(bucketMeta)
	if err != nil {
		return err
	}
	return errors.Join(steps[i](tx), meta.Put(keySchema, key32(uint32(i+1))), balance(tx))
}

func (db *DB) migrate() error { return migrate(db.file.DB) }
