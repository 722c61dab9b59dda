package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"strings"

	"nightjar/rise"
)

// fits checks that a record is whole and stands where its content belongs: a page that a card did not write may hold
// records of another bucket.
func fits(d *chunkDecoder, path []string, k, v []byte) error {
	if len(path) != 1+nesting(path[0]) {
		return fmt.Errorf("nested %d deep: %w", len(path), ErrDamaged)
	}
	if path[0] == string(bucketMeta) || isIndex(path[0]) {
		return nil
	}
	key, err := keyOf(d, path, k, v)
	if err != nil {
		return err
	}
	if !bytes.Equal(key, k) {
		return fmt.Errorf("record of another place (%x): %w", key, ErrDamaged)
	}
	return nil
}

// nesting is how many levels of buckets a top bucket has below it.
func nesting(bucket string) int {
	switch bucket {
	case string(bucketReadings), string(bucketJars), string(bucketStarters), string(bucketRecipes), string(bucketOutbox):
		return 1
	}
	return 0
}

// isIndex tells buckets that follow from others, and are made anew by a repair.
func isIndex(bucket string) bool {
	switch bucket {
	case string(bucketActionIDs), string(bucketOpen), string(bucketAlertIDs), string(bucketActive):
		return true
	}
	return false
}

// keyOf is the key under which a record belongs by its content; k itself where the content does not tell.
func keyOf(d *chunkDecoder, path []string, k, v []byte) ([]byte, error) {
	switch path[0] {
	case string(bucketReadings):
		station, rs, err := d.decode(v, nil)
		if err != nil || station != path[1] {
			return nil, err
		}
		return appendStamp(nil, rs[0].Stamp), nil
	case string(bucketBoots):
		return decodedKey(v, func(b boot) []byte { return unless(b.ID == "" || len(k) != 4, k) })
	case string(bucketAnchors):
		return decodedKey(v, func(a rise.Anchor) []byte { return appendStamp(nil, a.Stamp) })
	case string(bucketActions):
		return decodedKey(v, func(a rise.Action) []byte {
			return append(appendStamp(key32(uint32(a.Run)), a.At.Stamp), k[min(len(k), 16):]...)
		})
	case string(bucketRuns):
		return decodedKey(v, func(r rise.Run) []byte { return key32(uint32(r.Number)) })
	case string(bucketSummaries):
		return decodedKey(v, func(s rise.Summary) []byte { return key32(uint32(s.Run.Number)) })
	case string(bucketAlerts):
		return decodedKey(v, alertKey)
	case string(bucketJars):
		return decodedKey(v, func(j rise.Jar) []byte { return unless(j.Name != path[1], key32(uint32(j.Version))) })
	case string(bucketStarters), string(bucketRecipes):
		return decodedKey(v, func(j Document) []byte { return unless(j.Name != path[1], key32(uint32(j.Version))) })
	case string(bucketOutbox):
		return decodedKey(v, func(q queued) []byte { return unless(len(k) != 12 || !endsIn(q.AlertID, k), k) })
	case string(bucketSettled):
		return decodedKey(v, func(q queued) []byte { return unless(!strings.HasPrefix(string(k), q.AlertID+"\x00"), k) })
	}
	return nil, fmt.Errorf("no such bucket: %w", ErrDamaged)
}

// endsIn tells whether an alert's id ends in the sequence of a key of the outbox.
func endsIn(id string, k []byte) bool {
	return strings.HasSuffix(id, fmt.Sprintf("-%d", binary.BigEndian.Uint64(k[4:])))
}

func unless(bad bool, k []byte) []byte {
	if bad {
		return nil
	}
	return k
}

func decodedKey[T any](v []byte, key func(T) []byte) ([]byte, error) {
	var x T
	if err := decode(v, &x); err != nil {
		return nil, err
	}
	return key(x), nil
}
