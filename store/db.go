package store

import (
	"cmp"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"nightjar/rise"
)

// Options say how a store is opened. The zero value is good for a command.
type Options struct {
	// Timeout is how long to wait for another process to let go of the store; 0 is 1 s.
	Timeout time.Duration
	// ReadOnly leaves the file as it is; what would write returns ErrReadOnly. Several may read at once.
	ReadOnly bool
	// BootID is the kernel's id of this boot; empty asks the kernel.
	BootID string
	// Device names the device in run numbers and alert ids; empty is the name stored, or "nightjar" in a new store.
	Device string
	// Repair lets Open, and a write that finds damage, move a damaged file aside and go on with a copy of what is readable
	// in it; see Repaired. Without it they return ErrDamaged.
	Repair bool
	// Now tells the moment at which an action is told or a delivery settled, where the caller did not say; nil leaves it
	// unset.
	Now func() rise.Moment
	// Log is told of damage and of a disk that does not take what is written; nil discards.
	Log *slog.Logger
}

// DB is an open store. All its methods may be called from several goroutines.
type DB struct {
	path   string
	opts   Options
	log    *slog.Logger
	boot   uint32
	bootID string
	device string
	found  damages

	// commit is held for writing while a transaction that takes the gathered readings is committed, and for reading by
	// whoever wants to see each reading once, on disk or in memory.
	commit sync.RWMutex
	// open guards file, which is replaced when a write dies of a damaged page.
	open sync.RWMutex
	file *handle
	// broken is why nothing can be written any more.
	broken error
	// repaired is what the last repair moved, copied and left out; nil if there was none.
	repaired *Repaired

	mu       sync.Mutex // guards what follows
	pending  batch
	flushing batch
	late     late
	anchors  []rise.Anchor // all known, stored or not
	line     rise.Timeline
	writable atomic.Bool // whether the last write went well, so that a change is told once
}

// Open opens the store at path, or makes a new one. It registers this boot. Close must be called.
//
// It returns an error that wraps ErrLocked, ErrDamaged, ErrNewer, or one of the operating system's; each carries a
// Hint. A damaged file is left as it is.
func Open(path string, o Options) (*DB, error) {
	db, err := open(path, o)
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", path, err)
	}
	return db, nil
}

func open(path string, o Options) (*DB, error) {
	if o.Timeout == 0 {
		o.Timeout = lockTimeout
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	db := &DB{path: path, opts: o, log: o.Log.With("store", path)}
	db.writable.Store(true)
	if err := db.openFile(); err != nil {
		return nil, err
	}
	err = db.prepare()
	if (errors.Is(err, ErrDamaged) || errors.Is(err, errForeign)) && db.mayRepair() && db.repaired == nil {
		db.file.abandon() // if it is another program's after all, Repair finds nothing of ours in it
		if err := db.repair(err); err != nil {
			return nil, err
		}
		if err := db.openFile(); err != nil {
			return nil, err
		}
		err = db.prepare()
	}
	if err != nil {
		return nil, errors.Join(explain(err), db.closeFile())
	}
	return db, nil
}

func (db *DB) closeFile() error {
	if db.broken != nil {
		db.file.abandon()
		return nil
	}
	return guard(db.file.Close)
}

func (db *DB) mayRepair() bool { return db.opts.Repair && !db.opts.ReadOnly }

// openFile opens the file, after a repair if it needs one and that is allowed.
func (db *DB) openFile() (err error) {
	db.file, err = openFile(db.path, db.opts)
	if err == nil && lied(db.file.found) && db.mayRepair() {
		err = cmp.Or(db.file.Close(), errLedger)
	}
	if errors.Is(err, ErrDamaged) && db.mayRepair() {
		if err := db.repair(err); err != nil {
			return err
		}
		db.file, err = openFile(db.path, db.opts)
	}
	if err == nil {
		db.tellFound()
	}
	return err
}

// repair moves the file aside, copies what is readable, and tells.
func (db *DB) repair(why error) error {
	r, err := Repair(db.path)
	if err != nil {
		return err
	}
	db.repaired = &r
	db.log.Error("the store was damaged; it was moved aside and what is readable copied", "error", why, "moved to", r.MovedTo,
		"records", r.Copied, "lost", len(r.Damage))
	return nil
}

// Repaired tells of the last repair since Open began; nil if there was none.
func (db *DB) Repaired() *Repaired {
	db.open.RLock()
	defer db.open.RUnlock()
	return db.repaired
}

// prepare brings the schema up to date and finds out which device and boot this is.
func (db *DB) prepare() error {
	if err := guard(func() error { return db.migrate() }); err != nil {
		return err
	}
	if err := db.identify(); err != nil {
		return err
	}
	return db.loadAnchors()
}

// Close commits the readings gathered so far and closes the file. Closing twice is harmless.
func (db *DB) Close() error {
	var err error
	if !db.opts.ReadOnly {
		err = db.Flush()
	}
	db.open.Lock()
	defer db.open.Unlock()
	return errors.Join(err, db.closeFile())
}

// Boot is the store's number of this boot; in a store open for reading only it is 0 if this boot never wrote to it.
func (db *DB) Boot() uint32 { return db.boot }

// Device is the device's name.
func (db *DB) Device() string { return db.device }

// Path is the file's absolute path.
func (db *DB) Path() string { return db.path }

// Damaged lists what was found damaged since the store was opened. Everything else was read as written.
func (db *DB) Damaged() []Damage {
	db.found.mu.Lock()
	defer db.found.mu.Unlock()
	return slices.Clone(db.found.list)
}

// damaged remembers and logs something damaged.
func (db *DB) damaged(where string, err error) { db.tell(Damage{Where: where, What: err.Error()}) }

func (db *DB) tell(d Damage) {
	if db.found.add(d.Where, d.What) {
		db.log.Warn("stored data is damaged and left out", "where", d.Where, "error", d.What)
	}
}

// tellFound tells what was missing when the file was opened, and balances the ledger, so that it is told once.
func (db *DB) tellFound() {
	for _, d := range db.file.found {
		db.tell(d)
	}
	if len(db.file.found) == 0 || db.opts.ReadOnly {
		return
	}
	if err := guard(func() error { return db.file.Update(balance) }); err != nil {
		db.log.Warn("the ledger of records could not be balanced", "error", err)
	}
}
