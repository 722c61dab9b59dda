package store

import (
	"cmp"
	"crypto/rand"
	"fmt"
	"os"
	"strings"
	"time"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// bootIDFile is where the kernel tells its id of this boot.
const bootIDFile = "/proc/sys/kernel/random/boot_id"

// boot is the record of a boot.
type boot struct {
	ID string `json:"id"`
}

// identify finds the device's name and this boot's number, and registers what is new.
func (db *DB) identify() error {
	db.bootID = cmp.Or(db.opts.BootID, kernelBootID(db))
	var device string
	var number uint32
	var known bool
	read := func(tx *bolt.Tx) error {
		device = string(tx.Bucket(bucketMeta).Get(keyDevice))
		number, known = lastBoot(tx, db.bootID)
		return nil
	}
	if err := db.view(read); err != nil {
		return fmt.Errorf("boots: %w", err)
	}
	db.device = cmp.Or(db.opts.Device, device, "nightjar")
	if db.opts.ReadOnly {
		if known {
			db.boot = number
		}
		return nil
	}
	db.boot = number
	if known && device == db.device {
		return nil
	}
	return db.update(func(w *writer) error {
		rec, err := encode(boot{ID: db.bootID})
		if err != nil {
			return err
		}
		if err := w.in(bucketBoots).Put(key32(number), rec); err != nil {
			return err
		}
		return w.Bucket(bucketMeta).Put(keyDevice, []byte(db.device))
	})
}

// lastBoot returns the number of the boot with the id, if it is the last one registered, or else the number that it is
// to get: one above all that stand in any record, so that order in time stays order of numbers.
func lastBoot(tx *bolt.Tx, id string) (n uint32, known bool) {
	k, v := tx.Bucket(bucketBoots).Cursor().Last()
	var last boot
	if k != nil && decode(v, &last) == nil && last.ID == id {
		return keyNumber(k), true
	}
	n = max(keyNumber(k), lastStamped(tx.Bucket(bucketAnchors)))
	readings := tx.Bucket(bucketReadings)
	_ = readings.ForEachBucket(func(station []byte) error {
		n = max(n, lastStamped(readings.Bucket(station)))
		return nil
	})
	return n + 1, false
}

// lastStamped is the boot of the last key of a bucket whose keys are stamps.
func lastStamped(b *bolt.Bucket) uint32 {
	k, _ := b.Cursor().Last()
	s, _ := keyStamp(k)
	return s.Boot
}

// kernelBootID asks the kernel. Where it does not tell, each opening counts as a boot of its own, which keeps the
// order of readings right and leaves gaps of unknown length.
func kernelBootID(db *DB) string {
	if b, err := os.ReadFile(bootIDFile); err == nil {
		return strings.TrimSpace(string(b))
	}
	db.log.Warn("the kernel does not tell its boot id; this start counts as a boot of its own", "file", bootIDFile)
	return "unknown-" + rand.Text()
}

// anchorSlack is how far the offset between wall time and boot time may wander without being a step: the two clocks
// are steered together, so that more is a clock that was set.
const anchorSlack = 50 * time.Millisecond

// Anchor notes what the wall clock said at a moment. The timeline follows at once; the card does with the next
// commit, which is the first that could need it. Of anchors that agree, the first and the last are kept.
func (db *DB) Anchor(a rise.Anchor) error {
	if db.opts.ReadOnly {
		return ErrReadOnly
	}
	if a.Boot == 0 {
		a.Boot = db.boot
	}
	if a.Boot != db.boot {
		return fmt.Errorf("anchor of boot %d in boot %d: %w", a.Boot, db.boot, ErrInvalid)
	}
	// Whole milliseconds, as in a reading's stamp: so is then every wall time, and a recording holds it exactly.
	a.Wall, a.At = a.Wall.UTC().Round(time.Millisecond), a.At.Truncate(time.Millisecond)
	db.mu.Lock()
	defer db.mu.Unlock()
	n := len(db.anchors)
	if n >= 2 && agree(db.anchors[n-2], db.anchors[n-1]) && agree(db.anchors[n-2], a) {
		db.pending.dropAnchor(db.anchors[n-1].Stamp)
		db.anchors = db.anchors[:n-1]
	}
	db.anchors = append(db.anchors, a)
	db.pending.anchors = append(db.pending.anchors, a)
	db.line = rise.NewTimeline(db.anchors)
	return nil
}

func agree(a, b rise.Anchor) bool {
	d := b.Wall.Sub(a.Wall) - (b.At - a.At)
	return a.Boot == b.Boot && a.Synced == b.Synced && d.Abs() <= anchorSlack && !b.Before(a.Stamp)
}

// Timeline turns stamps into wall time by all anchors known by now.
func (db *DB) Timeline() rise.Timeline {
	db.mu.Lock()
	defer db.mu.Unlock()
	return db.line
}

func (db *DB) loadAnchors() error {
	db.anchors = nil
	err := db.view(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketAnchors).ForEach(func(k, v []byte) error {
			var a rise.Anchor
			if err := decode(v, &a); err != nil {
				db.damaged(fmt.Sprintf("anchors %x", k), err)
				return nil
			}
			db.anchors = append(db.anchors, a)
			return nil
		})
	})
	if err != nil {
		return fmt.Errorf("anchors: %w", err)
	}
	db.line = rise.NewTimeline(db.anchors)
	return nil
}

// resolve settles a moment by the anchors known now: a typed time gets its stamp, which is not after the moment at
// which it was told, any other its wall time.
func resolve(line rise.Timeline, m *rise.Moment, told rise.Stamp) {
	switch {
	case m.IsZero():
	case m.Typed:
		if s, ok := line.Stamp(m.Wall); ok {
			m.Stamp = s
		} else if _, q := line.Wall(told); q == rise.TimeUnknown {
			m.Stamp = told // no clock to compare with
		} else {
			m.Stamp = rise.Stamp{Boot: 1} // before anything was watched
		}
		if !told.IsZero() && told.Before(m.Stamp) {
			m.Stamp = told
		}
	default:
		if wall, q := line.Wall(m.Stamp); q != rise.TimeUnknown {
			m.Wall = wall
		}
	}
	m.At = m.At.Truncate(time.Millisecond)
}
