package store

import (
	"bytes"
	"errors"
	"slices"
	"strings"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// rebuild makes the indexes from the records of a salvaged store, and counts those. A run whose end is among the
// actions has ended, even if its own record is of before.
func (s *salvage) rebuild(w *writer) (n int, err error) {
	ends, actions, err := s.rebuildActions(w)
	if err != nil {
		return 0, err
	}
	open, runs, err := s.rebuildRuns(w, ends)
	if err != nil {
		return 0, err
	}
	alerts, err := s.rebuildAlerts(w, open)
	if err != nil {
		return 0, err
	}
	n = actions + runs + alerts
	for name, recs := range s.buckets {
		switch name {
		case string(bucketActions), string(bucketRuns), string(bucketAlerts), string(bucketMeta):
		default:
			if !isIndex(name) {
				n += len(recs)
			}
		}
	}
	return n, nil
}

func (s *salvage) rebuildActions(w *writer) (ends map[int]rise.Moment, n int, err error) {
	ends = map[int]rise.Moment{}
	n, err = eachRecord(w.Tx, bucketActions, func(k []byte, a rise.Action) error {
		if a.Kind == rise.ActionEnd {
			ends[a.Run] = a.When
		}
		return w.in(bucketActionIDs).Put([]byte(a.ID), k)
	})
	if err != nil {
		return ends, n, err
	}
	// The counter is lost; go on well above all that can have been used.
	return ends, n, w.Bucket(bucketActions).SetSequence(uint64(n) + 1<<20)
}

// rebuildRuns returns the runs that are open.
func (s *salvage) rebuildRuns(w *writer, ends map[int]rise.Moment) (open map[int]bool, n int, err error) {
	open = map[int]bool{}
	var unended []rise.Run
	n, err = eachRecord(w.Tx, bucketRuns, func(_ []byte, r rise.Run) error {
		if r.Open() {
			unended = append(unended, r)
		}
		return nil
	})
	if err != nil {
		return open, n, err
	}
	for _, r := range unended {
		if end, ended := ends[r.Number]; ended {
			r.End, r.EndReason = end, "end"
			err = errors.Join(err, putRun(w, r))
			continue
		}
		open[r.Number] = true
		err = errors.Join(err, w.in(bucketOpen).Put([]byte(r.Station), key32(uint32(r.Number))))
	}
	return open, n, err
}

func (s *salvage) rebuildAlerts(w *writer, open map[int]bool) (n int, err error) {
	var unsure []rise.Alert
	n, err = eachRecord(w.Tx, bucketAlerts, func(k []byte, a rise.Alert) error {
		var err error
		if a.Acked.IsZero() {
			err = w.in(bucketActive).Put(k, nil)
			if s.lost && a.Level != rise.LevelQuiet && (a.Run == 0 || open[a.Run]) {
				unsure = append(unsure, a)
			}
		}
		return errors.Join(err, w.in(bucketAlertIDs).Put([]byte(a.ID), k))
	})
	for _, a := range unsure {
		err = errors.Join(err, requeue(w, a))
	}
	return n, err
}

// requeue queues an alert that still matters, and that nobody acknowledged, for every route of which no delivery of it
// is known: its place in the outbox may have been lost. It may come twice, which is better than never.
func requeue(w *writer, a rise.Alert) error {
	for _, route := range routes(w.Tx) {
		k, err := findQueued(w.Tx, route, a.ID)
		if err != nil {
			return err
		}
		if k != nil || w.Bucket(bucketSettled).Get(settledKey(a.ID, route)) != nil {
			continue
		}
		rec, err := encode(queued{AlertID: a.ID, State: rise.DeliveryPending, Why: "queued again after a repair of the store"})
		if err != nil {
			return err
		}
		b, err := w.in(bucketOutbox).sub(route)
		if err == nil {
			err = b.Put(queueKey(a.Issued.Boot, sequenceOf(a)), rec)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// routes lists every route that anything was ever queued for, as far as is known.
func routes(tx *bolt.Tx) (names []string) {
	_ = tx.Bucket(bucketOutbox).ForEachBucket(func(k []byte) error {
		names = append(names, string(k))
		return nil
	})
	_ = tx.Bucket(bucketSettled).ForEach(func(k, _ []byte) error {
		if _, route, ok := bytes.Cut(k, []byte{0}); ok {
			names = append(names, string(route))
		}
		return nil
	})
	slices.Sort(names)
	return slices.Compact(names)
}

// sequenceOf is the sequence at the end of an alert's id.
func sequenceOf(a rise.Alert) uint64 {
	var seq uint64
	for _, c := range a.ID[strings.LastIndexByte(a.ID, '-')+1:] {
		seq = seq*10 + uint64(c-'0')
	}
	return seq
}

// eachRecord calls fn for every record of a bucket and counts them.
func eachRecord[T any](tx *bolt.Tx, bucket []byte, fn func(k []byte, v T) error) (n int, err error) {
	err = tx.Bucket(bucket).ForEach(func(k, rec []byte) error {
		var v T
		if err := decode(rec, &v); err != nil {
			return err
		}
		n++
		return fn(slices.Clone(k), v)
	})
	return n, err
}
