package store

import (
	"errors"

	bolt "go.etcd.io/bbolt"
)

// view reads in one transaction. fn must be short, must not wait for anything, and must copy what it keeps.
func (db *DB) view(fn func(tx *bolt.Tx) error) error {
	db.open.RLock()
	defer db.open.RUnlock()
	return guard(func() error { return db.file.View(fn) })
}

// update commits what fn writes together with the readings gathered so far. An error of fn leaves everything as it was.
func (db *DB) update(fn func(w *writer) error) error {
	if db.opts.ReadOnly {
		return ErrReadOnly
	}
	db.commit.Lock()
	defer db.commit.Unlock()
	db.take()
	waiting := db.lateNow()
	var refused error
	err := db.write(func(w *writer) error {
		if err := errors.Join(db.flushing.write(w), waiting.write(w, db)); err != nil {
			return err
		}
		refused = fn(w)
		return refused
	})
	db.settle(err == nil)
	if refused != nil {
		return refused
	}
	db.tellState(err)
	if err != nil {
		return hintf("Make room on the disk, or mount it for writing; what waits in memory follows by itself.", "%w: %w", ErrNotWritten, err)
	}
	db.written(waiting)
	return nil
}

// write runs a write transaction. A panic in it leaves bbolt's own state unknown, so nothing more is written to that
// file: it is repaired and the write done again, or else everything that is written later is refused.
func (db *DB) write(fn func(w *writer) error) error {
	if db.broken != nil {
		return db.broken
	}
	err, panicked := db.try(fn)
	if !panicked {
		return err
	}
	db.open.Lock()
	defer db.open.Unlock()
	db.broken = hintf(repairRemedy, "write: %w", err)
	if !db.opts.Repair {
		return db.broken
	}
	db.file.abandon()
	if err := db.repair(err); err != nil {
		return errors.Join(db.broken, err)
	}
	file, err := openFile(db.path, db.opts)
	if err != nil {
		return errors.Join(db.broken, err)
	}
	db.file, db.broken = file, nil
	if err, panicked = db.try(fn); panicked {
		db.broken = err
	}
	return err
}

func (db *DB) try(fn func(w *writer) error) (err error, panicked bool) {
	panicked = true
	err = guard(func() error {
		err := db.file.Update(keepLedger(fn))
		panicked = false
		return err
	})
	return err, panicked
}

// tellState logs when the disk stops taking what is written, and when it takes it again.
func (db *DB) tellState(err error) {
	if was := db.writable.Swap(err == nil); was && err != nil {
		db.log.Error("the disk does not take what is written; readings are kept in memory", "error", err)
	} else if !was && err == nil {
		db.log.Info("the disk takes what is written again", "unflushed", db.Unflushed())
	}
}
