package store

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// Issue stores an alert and queues it for each route, in one transaction; both are durable when it returns. It returns
// false and the stored alert if the same one (station, run, kind, episode and n) was issued before.
//
// It assigns the id: device, first 8 hex digits of the boot id, sequence. The sequence is the boot's age in
// milliseconds, or one above the last if that is more: so that ids stay unique even where a backup of minutes ago was
// put in place of the store.
//
// While the disk takes nothing, alerts are issued from memory all the same, and stored by the next commit that works.
func (db *DB) Issue(a rise.Alert, routes []string) (rise.Alert, bool, error) {
	if err := cleanName("station", a.Station); err != nil {
		return a, false, err
	}
	for _, route := range routes {
		if err := cleanName("route", route); err != nil {
			return a, false, err
		}
	}
	a.N = max(1, a.N)
	resolve(db.Timeline(), &a.Issued, rise.Stamp{})
	key := alertKey(a)
	stored, issued, err := db.issue(key, a, routes)
	switch {
	case errors.Is(err, ErrNotWritten):
		a, issued = db.issueLate(key, a, routes, err)
		return a, issued, nil
	case err != nil:
		return a, false, fmt.Errorf("issue %s: %w", a.Kind, err)
	}
	return stored, issued, nil
}

func (db *DB) issue(key []byte, a rise.Alert, routes []string) (stored rise.Alert, issued bool, err error) {
	err = db.update(func(w *writer) error {
		if v := w.Bucket(bucketAlerts).Get(key); v != nil {
			issued = false
			return cmp.Or(decode(v, &stored), errKnown)
		}
		seq, err := nextSequence(w.Tx, db.boot, sinceBoot(a.Issued.At))
		if err != nil {
			return err
		}
		stored, issued = a, true
		stored.ID = db.alertID(seq)
		return putIssued(w, key, queueKey(db.boot, seq), stored, routes)
	})
	if errors.Is(err, errKnown) {
		err = nil
	}
	return stored, issued, err
}

func (db *DB) alertID(seq uint64) string { return fmt.Sprintf("%s-%s-%d", db.device, db.boot8(), seq) }

// boot8 is the first 8 hex digits of the boot id.
func (db *DB) boot8() string { return db.bootID[:min(8, len(db.bootID))] }

// The alerts bucket's own sequence holds the last alert's boot in its upper 24 bits, and its sequence in the lower 40:
// 34 years in milliseconds.
const (
	sequenceBits = 40
	sequenceMask = 1<<sequenceBits - 1
	bootMask     = 1<<24 - 1
)

// sequenceAfter is at, or one above the last of this boot if that is more.
func sequenceAfter(last uint64, boot uint32, at uint64) uint64 {
	at &= sequenceMask
	if uint32(last>>sequenceBits) != boot&bootMask {
		return at
	}
	return max(at, last&sequenceMask+1)
}

// nextSequence takes the next sequence.
func nextSequence(tx *bolt.Tx, boot uint32, at uint64) (uint64, error) {
	b := tx.Bucket(bucketAlerts)
	seq := sequenceAfter(b.Sequence(), boot, at)
	return seq, b.SetSequence(uint64(boot&bootMask)<<sequenceBits | seq)
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

// Alerts returns the alerts issued for a station's run, or for none if run is 0, oldest first.
func (db *DB) Alerts(station string, run int) ([]rise.Alert, error) {
	return db.alerts(bucketAlerts, alertPrefix(station, run))
}

// Active returns the station's alerts that nobody acknowledged, oldest first.
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
	for _, l := range db.lateNow().alerts {
		if bytes.HasPrefix(l.key, prefix) && (l.alert.Acked.IsZero() || !bytes.Equal(in, bucketActive)) {
			as = append(as, resolveAlert(line, l.alert))
		}
	}
	slices.SortStableFunc(as, func(a, b rise.Alert) int { return a.Issued.Compare(b.Issued.Stamp) })
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
