package check

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"nightjar/store"
)

// What a disk must have left: a year of readings, and what keeps the store writing at all.
const (
	comfortable = 500 << 20
	least       = 50 << 20
)

// disk looks at the folder of the store.
func (m *Machine) disk() []Finding {
	dir, err := existing(filepath.Dir(m.Store))
	if err != nil {
		return []Finding{fail("disk", "see --store", "%v", err)}
	}
	if err := m.Access(dir); err != nil {
		return []Finding{m.noAccess(dir, err)}
	}
	left, err := m.Free(dir)
	if err != nil {
		return []Finding{fail("disk", "is the disk mounted?", "%s: %v", dir, err)}
	}
	const remedy = "make room: df -h, journalctl --vacuum-size=50M"
	switch mb := left >> 20; {
	case left < least:
		return []Finding{fail("disk", remedy, "%d MB left in %s", mb, dir)}
	case left < comfortable:
		return []Finding{warn("disk", remedy, "%d MB left in %s", mb, dir)}
	default:
		return []Finding{ok("disk", "%d MB left in %s", mb, dir)}
	}
}

// noAccess says why the store's folder cannot be written: a card gone read-only looks like a right that is missing. A
// person may lack the right that the service has.
func (m *Machine) noAccess(dir string, err error) Finding {
	if errors.Is(err, readOnly) {
		return fail("disk", "the card may be failing: back up, check it with fsck, replace it", "%s cannot be written: %v", dir, err)
	}
	if m.Live != "" {
		return ok("disk", "%s belongs to the service", dir)
	}
	return fail("disk", "run it with sudo, or give the folder to the user that runs nightjar", "%s cannot be written: %v", dir, err)
}

// existing is the nearest folder above that is there: a store's own folder is made when it is.
func existing(dir string) (string, error) {
	for {
		info, err := os.Stat(dir)
		if err == nil && !info.IsDir() {
			return "", &fs.PathError{Op: "open", Path: dir, Err: errors.New("is no folder")}
		}
		if err == nil {
			return dir, nil
		}
		if !errors.Is(err, fs.ErrNotExist) || dir == filepath.Dir(dir) {
			return "", err
		}
		dir = filepath.Dir(dir)
	}
}

// store reads the whole store, unless the service is writing it.
func (m *Machine) store() Finding {
	const name = "store"
	if m.Live != "" {
		return ok(name, "open in the service")
	}
	r, err := store.Check(m.Store)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return ok(name, "none at %s yet; it is made when it is needed", m.Store)
	case err != nil:
		return fail(name, hint(err, "run it with sudo, or as the user that owns the store"), "%v", err)
	case len(r.Damage) > 0:
		return fail(name, "nightjar store check shows all of it, and mends it with --repair", "damaged in %d places, first %s: %s", len(r.Damage), r.Damage[0].Where, r.Damage[0].What)
	}
	return ok(name, "%s, %d readings, all of it sound", m.Store, r.Readings)
}
