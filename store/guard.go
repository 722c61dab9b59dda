package store

import (
	"fmt"
	"os"
	"runtime/debug"
	"sync"
	"syscall"
	"time"

	bolt "go.etcd.io/bbolt"
)

// guard runs fn and turns a panic, or a memory fault from reading beyond the end of a file cut short, into ErrDamaged:
// bbolt trusts its pages, so a spoiled one ends in either. It holds for fn's own goroutine only, and that is why Check
// of a bbolt transaction, which starts another, must not be used.
func guard(fn func() error) (err error) {
	old := debug.SetPanicOnFault(true)
	defer debug.SetPanicOnFault(old)
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%v: %w", p, ErrDamaged)
		}
	}()
	return fn()
}

// handle is an open bbolt file.
type handle struct {
	*bolt.DB
	file *os.File
	// found is what was missing when it was opened.
	found []Damage
}

// openBolt opens a bbolt file. A panic within becomes ErrDamaged, and then the lock is given back, which bbolt would
// keep until the process ends.
func openBolt(path string, o bolt.Options) (*handle, error) {
	var h handle
	o.OpenFile = func(name string, flag int, mode os.FileMode) (f *os.File, err error) {
		h.file, err = os.OpenFile(name, flag, mode)
		return h.file, err
	}
	err := guard(func() (err error) {
		h.DB, err = bolt.Open(path, 0o600, &o)
		return err
	})
	if err != nil {
		if h.file != nil {
			h.abandon()
		}
		return nil, err
	}
	h.AllocSize = growBytes
	return &h, nil
}

// abandon gives a file up without asking bbolt, which may wait for locks of its own for ever after a panic. The mapping
// that is left keeps the file's lock alive unless it is released by name.
func (h *handle) abandon() {
	_ = syscall.Flock(int(h.file.Fd()), syscall.LOCK_UN) // fails if bbolt has closed it already
	_ = h.file.Close()
}

func boltOptions(o Options) bolt.Options {
	return bolt.Options{
		Timeout: o.Timeout, ReadOnly: o.ReadOnly, PageSize: pageSize, NoStatistics: true,
		FreelistType: bolt.FreelistMapType, InitialMmapSize: mapSize,
	}
}

const (
	// pageSize is fixed, because a page as large as some machines' (16 KiB) makes every commit four times as heavy.
	pageSize = 4096
	// mapSize is mapped from the start, so that the map, which cannot grow while anybody reads, has no need to for years.
	mapSize = 64 << 20
	// growBytes is what the file grows by.
	growBytes = 256 << 10
	// lockTimeout is how long Open waits for another process by default.
	lockTimeout = time.Second
)

// syncDir makes a new or renamed file's entry in the folder durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// Damage is something stored that could not be read.
type Damage struct {
	// Where is the bucket and the key, What the trouble.
	Where string `json:"where"`
	What  string `json:"what"`
}

// damages remembers what was found damaged, each place once.
type damages struct {
	mu   sync.Mutex
	seen map[string]bool
	list []Damage
}

// add returns false if the place was known.
func (d *damages) add(where, what string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.seen[where] {
		return false
	}
	if d.seen == nil {
		d.seen = map[string]bool{}
	}
	d.seen[where] = true
	d.list = append(d.list, Damage{Where: where, What: what})
	return true
}
