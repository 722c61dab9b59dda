package store

import (
	"bytes"
	"errors"
	"fmt"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// queued is a delivery as stored: the alert by its id.
type queued struct {
	AlertID  string             `json:"alert"`
	State    rise.DeliveryState `json:"state"`
	Attempts int                `json:"attempts,omitempty"`
	Why      string             `json:"why,omitempty"`
	Settled  rise.Moment        `json:"settled,omitzero"`
}

// Pending returns at most n pending deliveries of a route, oldest alert first.
func (db *DB) Pending(route string, n int) ([]rise.Delivery, error) {
	var ds []rise.Delivery
	line, waiting := db.Timeline(), db.lateNow()
	err := db.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(bucketOutbox).Bucket([]byte(route))
		if b == nil {
			return nil
		}
		c := b.Cursor()
		for k, v := c.First(); k != nil && len(ds) < n; k, v = c.Next() {
			d, err := delivery(tx, line, route, v)
			if err != nil {
				db.damaged(fmt.Sprintf("outbox %s %x", route, k), err)
				continue
			}
			q, settled := waiting.settled[string(settledKey(d.Alert.ID, route))]
			if settled && q.State != rise.DeliveryPending {
				continue
			}
			ds = append(ds, d)
		}
		return nil
	})
	if err != nil {
		return ds, fmt.Errorf("outbox %s: %w", route, err)
	}
	ds = append(ds, waiting.pending(line, route)...)
	return ds[:min(n, len(ds))], nil
}

// delivery puts the stored delivery and its alert together.
func delivery(tx *bolt.Tx, line rise.Timeline, route string, v []byte) (rise.Delivery, error) {
	var q queued
	if err := decode(v, &q); err != nil {
		return rise.Delivery{}, err
	}
	a, err := alertByID(tx, q.AlertID)
	return rise.Delivery{
		Alert: resolveAlert(line, a), Route: route, State: q.State, Attempts: q.Attempts, Why: q.Why, Settled: q.Settled,
	}, err
}

func alertByID(tx *bolt.Tx, id string) (a rise.Alert, err error) {
	key := tx.Bucket(bucketAlertIDs).Get([]byte(id))
	if key == nil {
		return a, fmt.Errorf("alert %s: %w", id, ErrNotFound)
	}
	if err := decode(tx.Bucket(bucketAlerts).Get(key), &a); err != nil {
		return a, fmt.Errorf("alert %s: %w", id, err)
	}
	return a, nil
}

// Settle moves a delivery out of the pending state, or notes a failed attempt if state is pending. It is durable when
// it returns; while the disk takes nothing it is remembered in memory, and made again after a power cut. Settling it
// again with the same state changes nothing. ErrNotFound: the alert never had that route.
func (db *DB) Settle(route, alertID string, state rise.DeliveryState, attempts int, why string) error {
	q := queued{AlertID: alertID, State: state, Attempts: attempts, Why: why}
	if state != rise.DeliveryPending && db.opts.Now != nil {
		q.Settled = db.opts.Now()
	}
	err := db.update(func(w *writer) error { return settle(w, route, q) })
	switch {
	case errors.Is(err, errKnown), errors.Is(err, ErrNotWritten) && db.settleLate(route, q):
		return nil
	case err != nil:
		return fmt.Errorf("settle %s on %s: %w", alertID, route, err)
	}
	return nil
}

func settle(w *writer, route string, q queued) error {
	k, err := findQueued(w.Tx, route, q.AlertID)
	if err != nil {
		return err
	}
	if k == nil {
		return settledBefore(w.Tx, route, q.AlertID)
	}
	rec, err := encode(q)
	if err != nil {
		return err
	}
	b, err := w.in(bucketOutbox).sub(route)
	if err != nil {
		return err
	}
	if q.State == rise.DeliveryPending {
		return b.Put(k, rec)
	}
	return errors.Join(b.Delete(k), w.in(bucketSettled).Put(settledKey(q.AlertID, route), rec))
}

func settledKey(alertID, route string) []byte { return append(append([]byte(alertID), 0), route...) }

func settledBefore(tx *bolt.Tx, route, alertID string) error {
	if tx.Bucket(bucketSettled).Get(settledKey(alertID, route)) == nil {
		return ErrNotFound
	}
	return errKnown
}

// findQueued returns the key of a pending delivery, nil if it is not pending. Few are pending at any time.
func findQueued(tx *bolt.Tx, route, alertID string) ([]byte, error) {
	b := tx.Bucket(bucketOutbox).Bucket([]byte(route))
	if b == nil {
		return nil, nil
	}
	c := b.Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		var q queued
		if err := decode(v, &q); err == nil && q.AlertID == alertID {
			return bytes.Clone(k), nil
		}
	}
	return nil, nil
}

// Deliveries returns how far an alert has come on each of its routes.
func (db *DB) Deliveries(alertID string) ([]rise.Delivery, error) {
	var ds []rise.Delivery
	line := db.Timeline()
	err := db.view(func(tx *bolt.Tx) error {
		out := tx.Bucket(bucketOutbox)
		err := out.ForEachBucket(func(route []byte) error {
			k, err := findQueued(tx, string(route), alertID)
			if err != nil || k == nil {
				return err
			}
			d, err := delivery(tx, line, string(route), out.Bucket(route).Get(k))
			ds = append(ds, d)
			return err
		})
		if err != nil {
			return err
		}
		prefix := settledKey(alertID, "")
		c := tx.Bucket(bucketSettled).Cursor()
		for k, v := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, v = c.Next() {
			d, err := delivery(tx, line, string(k[len(prefix):]), v)
			if err != nil {
				return err
			}
			ds = append(ds, d)
		}
		return nil
	})
	if err != nil {
		return ds, fmt.Errorf("deliveries of %s: %w", alertID, err)
	}
	return ds, nil
}
