package store

import (
	"bytes"
	"slices"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// appendReadings stores readings of one station and boot. They are usually later than all that are stored; if not,
// the chunks they fall into are made anew, and readings that are there already, bit for bit, are not stored twice.
func appendReadings(b records, d *chunkDecoder, station string, rs []rise.Reading) error {
	if len(rs) == 0 {
		return nil
	}
	slices.SortStableFunc(rs, func(a, b rise.Reading) int { return a.Compare(b.Stamp) })
	old, stored, err := overlapping(b, d, rs[0].Stamp)
	if err != nil {
		return err
	}
	for _, k := range old {
		if err := b.Delete(k); err != nil {
			return err
		}
	}
	for _, boot := range byBoot(merge(stored, rs)) {
		for len(boot) > 0 {
			n, rec := largestChunk(station, boot)
			if err := b.Put(appendStamp(nil, boot[0].Stamp), rec); err != nil {
				return err
			}
			boot = boot[n:]
		}
	}
	return nil
}

// overlapping returns the keys and readings of the chunks that readings from first on belong into: all from the one
// that begins at or before it, unless that one is full, or of an earlier boot, and ends before it. A damaged chunk is
// left alone.
func overlapping(b records, d *chunkDecoder, first rise.Stamp) (keys [][]byte, rs []rise.Reading, err error) {
	c := b.Cursor()
	at, _ := c.Seek(appendStamp(nil, first))
	if before, bv := prev(c, at); before != nil {
		_, in, err := d.decode(bytes.Clone(bv), nil)
		if err == nil && len(in) > 0 && (!in[len(in)-1].Before(first) || in[0].Boot == first.Boot && !full(bv, in)) {
			keys, rs = append(keys, bytes.Clone(before)), in
		}
	}
	for k, v := c.Seek(appendStamp(nil, first)); k != nil; k, v = c.Next() {
		var in []rise.Reading
		if _, in, err = d.decode(bytes.Clone(v), nil); err != nil {
			continue
		}
		keys, rs = append(keys, bytes.Clone(k)), append(rs, in...)
	}
	return keys, rs, nil
}

// prev steps back from where Seek went, also from beyond the end.
func prev(c *bolt.Cursor, at []byte) (k, v []byte) {
	if at == nil {
		return c.Last()
	}
	return c.Prev()
}

func full(record []byte, rs []rise.Reading) bool {
	return len(record) >= chunkBytes-16 || len(rs) >= chunkReadings
}

// merge puts two ordered lists into one; of equal stamps the stored ones come first.
func merge(stored, rs []rise.Reading) []rise.Reading {
	if len(stored) == 0 {
		return rs
	}
	if stored[len(stored)-1].Before(rs[0].Stamp) {
		return append(stored, rs...)
	}
	for _, r := range rs {
		i, found := slices.BinarySearchFunc(stored, r, func(a, b rise.Reading) int { return a.Compare(b.Stamp) })
		known := false
		for ; found && i < len(stored) && stored[i].Stamp == r.Stamp; i++ {
			known = known || stored[i] == r
		}
		if !known {
			stored = slices.Insert(stored, i, r)
		}
	}
	return stored
}

// byBoot splits ordered readings where the boot changes.
func byBoot(rs []rise.Reading) (parts [][]rise.Reading) {
	for len(rs) > 0 {
		n := slices.IndexFunc(rs, func(r rise.Reading) bool { return r.Boot != rs[0].Boot })
		if n < 0 {
			n = len(rs)
		}
		parts = append(parts, rs[:n:n])
		rs = rs[n:]
	}
	return parts
}

// largestChunk encodes as many of the readings as make a full chunk. Readings with equal stamps stay together, since
// a chunk is found by the stamp of its first.
func largestChunk(station string, rs []rise.Reading) (int, []byte) {
	n := min(len(rs), chunkReadings)
	for {
		n = wholeStamps(rs, n)
		rec := encodeChunk(station, rs[:n])
		if len(rec) <= chunkBytes || wholeStamps(rs, n-1) >= n {
			return n, rec
		}
		n = min(n-1, max(1, n*(chunkBytes-8)/len(rec)))
	}
}

// wholeStamps is n or the next number above at which the stamp changes, at least 1.
func wholeStamps(rs []rise.Reading, n int) int {
	n = max(n, 1)
	for n < len(rs) && rs[n].Stamp == rs[n-1].Stamp {
		n++
	}
	return n
}
