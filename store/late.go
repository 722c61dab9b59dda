package store

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// late holds what could not wait for a disk that takes nothing: alerts that were issued all the same, because a baker
// must be woken whatever the disk does, and deliveries that were settled. The next commit that works takes them along.
// After a power cut before that, an alert may be issued again, and a delivery made again.
type late struct {
	alerts []lateAlert
	// settled are deliveries by settledKey; those of stored alerts too.
	settled map[string]queued
}

type lateAlert struct {
	key    []byte
	seq    uint64
	alert  rise.Alert
	routes []string
}

// find returns the late alert with the key.
func (l *late) find(key []byte) (rise.Alert, bool) {
	for _, a := range l.alerts {
		if string(a.key) == string(key) {
			return a.alert, true
		}
	}
	return rise.Alert{}, false
}

// byID returns the late alert with the id.
func (l *late) byID(id string) (lateAlert, bool) {
	i := slices.IndexFunc(l.alerts, func(a lateAlert) bool { return a.alert.ID == id })
	if i < 0 {
		return lateAlert{}, false
	}
	return l.alerts[i], true
}

// issueLate keeps an alert that the disk did not take, and gives it its id.
func (db *DB) issueLate(key []byte, a rise.Alert, routes []string, why error) (rise.Alert, bool) {
	seq := sinceBoot(a.Issued.At)
	_ = db.view(func(tx *bolt.Tx) error {
		seq = sequenceAfter(tx.Bucket(bucketAlerts).Sequence(), db.boot, seq)
		return nil
	})
	db.mu.Lock()
	defer db.mu.Unlock()
	if old, known := db.late.find(key); known {
		return old, false
	}
	for _, other := range db.late.alerts {
		seq = max(seq, other.seq+1)
	}
	a.ID = db.alertID(seq)
	db.late.alerts = append(db.late.alerts, lateAlert{key: key, seq: seq, alert: a, routes: slices.Clone(routes)})
	db.log.Error("an alert is issued from memory: the disk does not take it", "id", a.ID, "kind", a.Kind, "error", why)
	return a, true
}

// settleLate remembers a settled delivery. It is false if there is no such delivery.
func (db *DB) settleLate(route string, q queued) bool {
	stored := false
	_ = db.view(func(tx *bolt.Tx) (err error) {
		k, err := findQueued(tx, route, q.AlertID)
		stored = k != nil
		return err
	})
	db.mu.Lock()
	defer db.mu.Unlock()
	a, isLate := db.late.byID(q.AlertID)
	if !stored && (!isLate || !slices.Contains(a.routes, route)) {
		return false
	}
	if db.late.settled == nil {
		db.late.settled = map[string]queued{}
	}
	db.late.settled[string(settledKey(q.AlertID, route))] = q
	return true
}

// ackLate acknowledges the late alerts that an ack is for, so that they are silent though the ack itself is refused.
func (db *DB) ackLate(ack rise.Action) {
	db.commit.Lock() // so that none is being written meanwhile
	defer db.commit.Unlock()
	db.mu.Lock()
	defer db.mu.Unlock()
	for i, l := range db.late.alerts {
		meant := l.alert.ID == ack.Alert || ack.Alert == "" && l.alert.Station == ack.Station
		if meant && l.alert.Acked.IsZero() {
			db.late.alerts[i].alert.Acked = ack.When
		}
	}
}

// lateNow returns a copy of what waits.
func (db *DB) lateNow() late {
	db.mu.Lock()
	defer db.mu.Unlock()
	return late{alerts: slices.Clone(db.late.alerts), settled: maps.Clone(db.late.settled)}
}

// write puts what waits into the transaction.
func (l *late) write(w *writer, db *DB) error {
	for _, a := range l.alerts {
		if _, err := nextSequence(w.Tx, db.boot, a.seq); err != nil {
			return err
		}
		if err := putIssued(w, a.key, queueKey(db.boot, a.seq), a.alert, a.routes); err != nil {
			return err
		}
	}
	for k, q := range l.settled {
		_, route, _ := strings.Cut(k, "\x00")
		if err := settle(w, route, q); err != nil && !errors.Is(err, errKnown) && !errors.Is(err, ErrNotFound) {
			return fmt.Errorf("settle %s: %w", q.AlertID, err)
		}
	}
	return nil
}

// written forgets what was committed.
func (db *DB) written(l late) {
	db.mu.Lock()
	defer db.mu.Unlock()
	db.late.alerts = slices.DeleteFunc(db.late.alerts, func(a lateAlert) bool {
		_, done := l.byID(a.alert.ID)
		return done
	})
	for k, q := range l.settled {
		if db.late.settled[k] == q {
			delete(db.late.settled, k)
		}
	}
}

// pending returns the late alerts that are pending on a route.
func (l *late) pending(line rise.Timeline, route string) (ds []rise.Delivery) {
	for _, a := range l.alerts {
		q, settled := l.settled[string(settledKey(a.alert.ID, route))]
		if !slices.Contains(a.routes, route) || settled && q.State != rise.DeliveryPending {
			continue
		}
		ds = append(ds, rise.Delivery{
			Alert: resolveAlert(line, a.alert), Route: route, State: rise.DeliveryPending, Attempts: q.Attempts, Why: q.Why,
		})
	}
	return ds
}
