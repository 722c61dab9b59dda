package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"slices"

	bolt "go.etcd.io/bbolt"
)

// The ledger holds, for each top bucket, the sum of a hash of every record in it, nested ones included, modulo 2^64.
// Every commit keeps it up to date, and opening the store adds the records up again. It finds what neither checksums
// nor the tree of pages can tell: that a card said a page was written, and holds an older one in its place that was
// whole too. The number of the transaction stands in front of the sums, and must be that of the meta page in force: or
// else an older root, with an older ledger, is in the place of the one that was to be written.

// ledgered lists the buckets in the order in which their sums stand in the ledger. Add at the end only.
var ledgered = [][]byte{
	bucketBoots, bucketAnchors, bucketReadings, bucketActions, bucketActionIDs, bucketRuns, bucketOpen, bucketJars,
	bucketStarters, bucketRecipes, bucketSummaries, bucketAlerts, bucketAlertIDs, bucketActive, bucketOutbox, bucketSettled,
}

var keyLedger = []byte("ledger")

// ledger holds the sums.
type ledger []uint64

func newLedger() ledger { return make(ledger, len(ledgered)) }

// readLedger reads what the store holds, and in which transaction it was written; false if it holds none.
func readLedger(v []byte) (l ledger, txid uint64, ok bool) {
	l = newLedger()
	if len(v) != 8+8*len(ledgered) {
		return l, 0, false
	}
	for i := range l {
		l[i] = binary.BigEndian.Uint64(v[8+8*i:])
	}
	return l, binary.BigEndian.Uint64(v), true
}

func (l ledger) bytes(tx *bolt.Tx) []byte {
	b := binary.BigEndian.AppendUint64(nil, uint64(tx.ID()))
	for _, s := range l {
		b = binary.BigEndian.AppendUint64(b, s)
	}
	return b
}

// add counts a record of the bucket at path.
func (l ledger) add(path []string, k, v []byte) {
	if i := ledgerIndex([]byte(path[0])); i >= 0 {
		l[i] += mark(path[1:], k, v)
	}
}

func ledgerIndex(bucket []byte) int {
	return slices.IndexFunc(ledgered, func(b []byte) bool { return bytes.Equal(b, bucket) })
}

// differ names the buckets in which records are missing, older or more than they should be.
func (l ledger) differ(other ledger) (names []string) {
	for i := range l {
		if l[i] != other[i] {
			names = append(names, string(ledgered[i]))
		}
	}
	return names
}

// errLedger is the trouble with a bucket that differs.
var errLedger = fmt.Errorf("some records are missing, or older than they should be, as if the card had not written what it said it had: %w", ErrDamaged)

// mark is the FNV-1a hash of where a record stands and of its last bytes, where its own checksum is.
func mark(within []string, k, v []byte) uint64 {
	h := fnv.New64a()
	for _, name := range within {
		h.Write([]byte(name))
		h.Write([]byte{0})
	}
	h.Write(k)
	h.Write([]byte{0, byte(len(v))})
	h.Write(v[max(0, len(v)-24):])
	return h.Sum64()
}

// writer is a write transaction that keeps the ledger.
type writer struct {
	*bolt.Tx
	sums ledger
}

// keepLedger runs fn in a transaction, with the ledger brought up to date after it.
func keepLedger(fn func(w *writer) error) func(tx *bolt.Tx) error {
	return func(tx *bolt.Tx) error {
		meta := tx.Bucket(bucketMeta)
		w := &writer{Tx: tx}
		w.sums, _, _ = readLedger(meta.Get(keyLedger))
		if err := fn(w); err != nil {
			return err
		}
		return meta.Put(keyLedger, w.sums.bytes(tx))
	}
}

// balance makes the ledger anew from the records that there are.
func balance(tx *bolt.Tx) error {
	sums := newLedger()
	var walk func(path []string, b *bolt.Bucket) error
	walk = func(path []string, b *bolt.Bucket) error {
		return b.ForEach(func(k, v []byte) error {
			if v == nil && b.Bucket(k) != nil {
				return walk(append(path[:len(path):len(path)], string(k)), b.Bucket(k))
			}
			sums.add(path, k, v)
			return nil
		})
	}
	for _, name := range ledgered {
		if b := tx.Bucket(name); b != nil {
			if err := walk([]string{string(name)}, b); err != nil {
				return err
			}
		}
	}
	return tx.Bucket(bucketMeta).Put(keyLedger, sums.bytes(tx))
}

// in is a top bucket to write to.
func (w *writer) in(bucket []byte) records {
	return records{Bucket: w.Bucket(bucket), sum: &w.sums[ledgerIndex(bucket)]}
}

// records is a bucket whose changes are counted in the ledger.
type records struct {
	*bolt.Bucket
	within []string
	sum    *uint64
}

// Put stores a record in place of what stood under the key.
func (r records) Put(k, v []byte) error {
	r.forget(k)
	*r.sum += mark(r.within, k, v)
	return r.Bucket.Put(k, v)
}

// Delete removes what stands under the key, if anything does.
func (r records) Delete(k []byte) error {
	r.forget(k)
	return r.Bucket.Delete(k)
}

func (r records) forget(k []byte) {
	if old := r.Get(k); old != nil {
		*r.sum -= mark(r.within, k, old)
	}
}

// sub is the bucket nested under a name, made if there is none.
func (r records) sub(name string) (records, error) {
	b, err := r.CreateBucketIfNotExists([]byte(name))
	return records{Bucket: b, within: append(r.within[:len(r.within):len(r.within)], name), sum: r.sum}, err
}
