package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	bolt "go.etcd.io/bbolt"
)

// Backup writes a consistent copy of the store to path, while it is in use, and replaces what stood there once the copy
// is durable and has been read back. To go back to it, put it in the store's place while nobody has that open. Readings gathered so far are committed first; if the disk does not take them, the copy
// is of what is committed.
func (db *DB) Backup(path string) (err error) {
	if !db.opts.ReadOnly {
		if err := db.Flush(); err != nil {
			db.log.Warn("backup without the newest readings", "error", err)
		}
	}
	if err := db.backup(path); err != nil {
		return fmt.Errorf("backup to %s: %w", path, err)
	}
	return nil
}

func (db *DB) backup(path string) error {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already once renamed
	err = db.view(func(tx *bolt.Tx) error {
		_, err := tx.WriteTo(f)
		return err
	})
	if err := errors.Join(err, f.Sync(), verify(f), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncDir(dir)
}

// verify reads a copy back, as far as its pages and its ledger go.
func verify(f *os.File) error {
	g, err := readGeometry(f)
	if err != nil {
		return err
	}
	found, err := structure(f, g)
	if err == nil && lied(found) {
		return errLedger
	}
	return err
}
