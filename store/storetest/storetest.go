// Package storetest opens stores for tests and checks their files when the test ends.
package storetest

import (
	"path/filepath"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
)

// BootID is the boot id of stores opened here, unless the options say otherwise.
const BootID = "7f3a9c1e-5b2d-4e88-9a61-0c4d2e6b8f10"

// Open opens a new store in a folder of the test's own. When the test ends it is closed, its file is checked, and the
// test fails if that finds anything.
func Open(t testing.TB) *store.DB {
	t.Helper()
	return OpenAt(t, filepath.Join(t.TempDir(), "nightjar.db"), store.Options{})
}

// OpenAt is Open at a path and with options; the file may exist already.
func OpenAt(t testing.TB, path string, o store.Options) *store.DB {
	t.Helper()
	if o.BootID == "" {
		o.BootID = BootID
	}
	db, err := store.Open(path, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Errorf("close store: %v", err)
		}
		Check(t, path)
	})
	return db
}

// Check fails the test if anything in the store file is damaged.
func Check(t testing.TB, path string) {
	t.Helper()
	r, err := store.Check(path)
	if err != nil {
		t.Errorf("check store: %v", err)
	}
	for _, d := range r.Damage {
		t.Errorf("check store: %s: %s", d.Where, d.What)
	}
}

// At is the moment d after the boot of a store opened here, for a wall clock that said noon UTC on 1 May 2026 then.
func At(db *store.DB, d time.Duration) rise.Moment {
	return rise.Moment{Stamp: rise.Stamp{Boot: db.Boot(), At: d}, Wall: time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC).Add(d)}
}
