package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// Issue stores an alert and queues it for each route, in one transaction; both are durable when it returns. It returns
// false and the stored alert if the same one (station, run, kind, episode and n) was issued before.
//
// It assigns the id: device, first 8 hex digits of the boot id, sequence. The sequence is the boot's age in
// milliseconds, or one above the last if that is more: so that ids stay unique even where a backup of minutes ago was
// put in place of the store.
func (db *DB) Issue(a rise.Alert, routes []string) (rise.Alert, bool, error) {
	if err := cleanName("station", a.Station); err != nil {
		return a, false, err
	}
	a.N = max(1, a.N)
	resolve(db.Timeline(), &a.Issued, rise.Stamp{})
	issued := true
	err := db.update(func(w *writer) error {
		key := alertKey(a)
		if v := w.Bucket(bucketAlerts).Get(key); v != nil {
			var old rise.Alert
			if err := decode(v, &old); err != nil {
				return err
			}
			a, issued = old, false
			return errKnown
		}
		seq, err := nextSequence(w.Tx, db.boot, sinceBoot(a.Issued.At))
		if err != nil {
			return err
		}
		a.ID = fmt.Sprintf("%s-%s-%d", db.device, db.boot8(), seq)
		return putIssued(w, key, queueKey(db.boot, seq), a, routes)
	})
	if err != nil && !errors.Is(err, errKnown) {
		return a, false, fmt.Errorf("issue %s: %w", a.Kind, err)
	}
	return a, issued, nil
}

// boot8 is the first 8 hex digits of the boot id.
func (db *DB) boot8() string { return db.bootID[:min(8, len(db.bootID))] }

// nextSequence is at, or one above the last of this boot if that is more. The bucket's own sequence holds boot and last.
func nextSequence(tx *bolt.Tx, boot uint32, at uint64) (uint64, error) {
	const low = 1<<40 - 1 // 34 years in milliseconds
	b := tx.Bucket(bucketAlerts)
	last := b.Sequence()
	seq := at & low
	if uint32(last>>40) == boot&(1<<24-1) {
		seq = max(seq, last&low+1)
	}
	return seq, b.SetSequence(uint64(boot&(1<<24-1))<<40 | seq)
}

func queueKey(boot uint32, seq uint64) []byte {
	return binary.BigEndian.AppendUint64(key32(boot), seq)
}

func putIssued(w *writer, key, queue []byte, a rise.Alert, routes []string) error {
	if err := putAlert(w, key, a); err != nil {
		return err
	}
	if err := w.in(bucketAlertIDs).Put([]byte(a.ID), key); err != nil {
		return err
	}
	for _, route := range routes {
		if err := cleanName("route", route); err != nil {
			return err
		}
		b, err := w.in(bucketOutbox).sub(route)
		if err != nil {
			return err
		}
		rec, err := encode(queued{AlertID: a.ID, State: rise.DeliveryPending})
		if err != nil {
			return err
		}
		if err := b.Put(queue, rec); err != nil {
			return err
		}
	}
	return nil
}

// putAlert stores an alert, and whether it is active.
func putAlert(w *writer, key []byte, a rise.Alert) error {
	rec, err := encode(a)
	if err != nil {
		return err
	}
	if err := w.in(bucketAlerts).Put(key, rec); err != nil {
		return err
	}
	if a.Acked.IsZero() {
		return w.in(bucketActive).Put(key, nil)
	}
	return w.in(bucketActive).Delete(key)
}

// acknowledge marks the active alerts whose keys have the prefix and returns how many there were.
func acknowledge(w *writer, prefix []byte, when rise.Moment) (int, error) {
	var keys [][]byte
	c := w.Bucket(bucketActive).Cursor()
	for k, _ := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, _ = c.Next() {
		keys = append(keys, bytes.Clone(k))
	}
	for _, k := range keys {
		var a rise.Alert
		if err := decode(w.Bucket(bucketAlerts).Get(k), &a); err != nil {
			// Spoiled: it can be told to nobody, and must not keep the others from being acknowledged.
			if err := w.in(bucketActive).Delete(k); err != nil {
				return 0, err
			}
			continue
		}
		a.Acked = when
		if err := putAlert(w, k, a); err != nil {
			return 0, err
		}
	}
	return len(keys), nil
}

// Alerts returns the alerts issued for a station's run, or for none if run is 0, in order of kind, episode and ring.
func (db *DB) Alerts(station string, run int) ([]rise.Alert, error) {
	return db.alerts(bucketAlerts, alertPrefix(station, run))
}

// Active returns the station's alerts that nobody acknowledged.
func (db *DB) Active(station string) ([]rise.Alert, error) {
	return db.alerts(bucketActive, stationPrefix(station))
}

func (db *DB) alerts(in, prefix []byte) ([]rise.Alert, error) {
	var as []rise.Alert
	line := db.Timeline()
	err := db.view(func(tx *bolt.Tx) error {
		c := tx.Bucket(in).Cursor()
		for k, _ := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, _ = c.Next() {
			var a rise.Alert
			if err := decode(tx.Bucket(bucketAlerts).Get(k), &a); err != nil {
				db.damaged(fmt.Sprintf("alerts %x", k), err)
				continue
			}
			as = append(as, resolveAlert(line, a))
		}
		return nil
	})
	if err != nil {
		return as, fmt.Errorf("alerts: %w", err)
	}
	return as, nil
}

func resolveAlert(line rise.Timeline, a rise.Alert) rise.Alert {
	resolve(line, &a.Issued, rise.Stamp{})
	resolve(line, &a.Acked, rise.Stamp{})
	if _, q := line.Wall(a.Issued.Stamp); q != rise.TimeUnknown {
		a.Quality = q
	}
	return a
}
