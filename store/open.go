package store

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"
)

const repairRemedy = "Run 'nightjar store check --repair', which moves the file aside and copies what is readable."

// errOlder: the newest commit may be lost with the meta page that named it.
var errOlder = fmt.Errorf("one of its two meta pages is spoiled, so what was committed last may be missing: %w", ErrDamaged)

// openFile opens the file at path, or makes a new one if there is none.
func openFile(path string, o Options) (*handle, error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && o.ReadOnly:
		return nil, fmt.Errorf("%w: %w", err, ErrNotFound)
	case errors.Is(err, fs.ErrNotExist):
		if b, err := createFile(path, o); err != nil || b != nil {
			return b, err
		}
		// Another process made it meanwhile.
		if info, err = os.Stat(path); err != nil {
			return nil, err
		}
	case err != nil:
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, hintf("Name a file of its own for the store.", "not a regular file: %w", ErrInvalid)
	}
	found, err := probe(path)
	if err != nil {
		return nil, explain(err)
	}
	h, err := openBolt(path, boltOptions(o))
	if err != nil {
		return nil, explain(err)
	}
	h.found = found
	return h, nil
}

// createFile makes a new store beside path and moves it there once it is whole, so that an empty or half file at path
// is never a new one. It returns nothing if somebody else was faster.
func createFile(path string, o Options) (*handle, error) {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, explain(err)
	}
	fresh := path + ".new"
	_, leftErr := os.Lstat(fresh)
	b, err := openBolt(fresh, boltOptions(o))
	if err != nil && leftErr == nil && !errors.Is(err, berrors.ErrTimeout) {
		// Left over from a start that was cut off.
		if err := os.Remove(fresh); err != nil {
			return nil, explain(err)
		}
		b, err = openBolt(fresh, boltOptions(o))
	}
	if err != nil {
		return nil, explain(err)
	}
	if _, err := os.Lstat(path); err == nil {
		return nil, errors.Join(b.Close(), os.Remove(fresh))
	}
	if err := errors.Join(migrate(b.DB), os.Rename(fresh, path), syncDir(dir)); err != nil {
		return nil, errors.Join(explain(err), b.Close())
	}
	return b, nil
}

// probe finds, by plain reads, what bbolt would take for a new file, die of, or write into a worse state: that is its
// error. What is lost but in nobody's way is found.
func probe(path string) (found []Damage, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() // gives the lock back
	if syscall.Flock(int(f.Fd()), syscall.LOCK_SH|syscall.LOCK_NB) != nil {
		return nil, nil // being written; opening it waits for the lock
	}
	g, err := readGeometry(f)
	if err != nil {
		return nil, err
	}
	return structure(f, g)
}

// structure checks the tree of pages, the free list and the ledger. Records are not looked into: one that is spoiled
// costs itself.
func structure(f *os.File, g geometry) (found []Damage, err error) {
	p := newPager(f, g)
	p.damaged = func(where string, e error) { err = cmp.Or(err, fmt.Errorf("%s: %w", where, e)) }
	a := newAudit()
	p.bucket(nil, g.root, a.record)
	p.checkTop()
	p.checkFree()
	return a.found(g), cmp.Or(a.newer(), err)
}

// lied tells whether the ledger says that records are missing.
func lied(found []Damage) bool {
	return slices.ContainsFunc(found, func(d Damage) bool { return d.What == errLedger.Error() })
}

// audit adds the ledger up.
type audit struct {
	sums, want ledger
	txid       uint64
	has        bool
	schema     int
}

func newAudit() *audit { return &audit{sums: newLedger()} }

func (a *audit) record(path []string, k, v []byte) {
	if path[0] == string(bucketMeta) {
		switch {
		case bytes.Equal(k, keyLedger):
			a.want, a.txid, a.has = readLedger(v)
		case bytes.Equal(k, keySchema):
			a.schema = int(keyNumber(v))
		}
		return
	}
	a.sums.add(path, k, v)
}

// newer is the error of a store that a newer version wrote: what this one takes for damage may be none.
func (a *audit) newer() error { return checkSchema(a.schema) }

// found tells what a walk over a file with sound pages did not find.
func (a *audit) found(g geometry) (ds []Damage) {
	if g.older {
		ds = append(ds, Damage{Where: "file", What: errOlder.Error()})
	}
	if !a.has {
		return ds
	}
	if a.txid != g.txid {
		ds = append(ds, Damage{Where: "file", What: errLedger.Error()})
	}
	for _, name := range a.sums.differ(a.want) {
		ds = append(ds, Damage{Where: name, What: errLedger.Error()})
	}
	return ds
}

// explain classes an error of opening and adds what a person can do about it.
func explain(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, berrors.ErrTimeout):
		return hintf("Stop the other process, or ask it: a running 'nightjar watch' answers every command.", "%w", ErrLocked)
	case errors.Is(err, fs.ErrPermission):
		return hintf("Run as the user that owns the file, or give that user the file and its folder.", "%w", err)
	case errors.Is(err, syscall.EROFS):
		return hintf("Mount the disk for writing; a card that the kernel made read-only is worn out or was pulled.", "%w", err)
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return hintf("Make room on the disk.", "%w", err)
	case errors.Is(err, ErrDamaged):
		return hintf(repairRemedy, "%w", err)
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrChecksum), errors.Is(err, berrors.ErrVersionMismatch):
		return hintf(repairRemedy, "%w: %w", err, ErrDamaged)
	}
	return err
}
