package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strings"

	"nightjar/rise"
)

// salvage gathers what is readable in a damaged file.
type salvage struct {
	buckets map[string]map[string][]byte // by path, joined with 0x00; records by key
	damage  []Damage
	d       chunkDecoder
	lost    bool // whether pages were lost, so that others are worth a search
}

func salvageFile(f *os.File) (*salvage, error) {
	s := &salvage{buckets: map[string]map[string][]byte{}}
	info, err := f.Stat()
	if err != nil {
		return s, err
	}
	g, err := readGeometry(f)
	if err != nil {
		s.note("file", err)
	}
	if g.page == 0 {
		g.page = pageSize
	}
	g.pages = uint64(info.Size() / g.page) // what there is, whatever the meta page says
	p := newPager(f, g)
	p.damaged = s.note
	a := newAudit()
	if g.root != 0 {
		p.bucket(nil, g.root, func(path []string, k, v []byte) {
			a.record(path, k, v)
			s.record(path, k, v)
		})
	}
	if err := a.newer(); err != nil {
		return s, err
	}
	sound := !s.lost && len(p.top) > 0
	ours := a.has || a.schema > 0 || slices.ContainsFunc(ledgered, func(b []byte) bool { return p.top[string(b)] })
	if found := a.found(g); len(found) > 0 {
		s.lost = true
		s.damage = append(s.damage, found...)
	}
	if s.lost || !ours {
		p.orphans(s.orphan)
	}
	if sound && !ours && len(s.buckets) == 0 {
		return s, errForeign
	}
	return s, nil
}

func (s *salvage) note(where string, err error) {
	s.lost = true
	s.damage = append(s.damage, Damage{Where: where, What: err.Error()})
}

// record takes a record that stands where it should, if it is whole.
func (s *salvage) record(path []string, k, v []byte) {
	err := fits(&s.d, path, k, v)
	if err == nil {
		s.put(path, k, v)
		return
	}
	if ledgerIndex([]byte(path[0])) < 0 && s.adopt(path, k, v) {
		err = fmt.Errorf("its bucket has lost its name: %w", ErrDamaged)
	} else {
		s.orphan(k, v)
	}
	s.damage = append(s.damage, Damage{Where: fmt.Sprintf("%s %x", strings.Join(path, " "), k), What: err.Error()})
}

// adopt puts a record of a bucket with an unknown name where it fits.
func (s *salvage) adopt(path []string, k, v []byte) bool {
	for _, bucket := range ledgered {
		as := append([]string{string(bucket)}, path[1:]...)
		if !isIndex(as[0]) && fits(&s.d, as, k, v) == nil && s.buckets[strings.Join(as, "\x00")][string(k)] == nil {
			s.put(as, k, v)
			return true
		}
	}
	return false
}

func (s *salvage) put(path []string, k, v []byte) {
	name := strings.Join(path, "\x00")
	if s.buckets[name] == nil {
		s.buckets[name] = map[string][]byte{}
	}
	s.buckets[name][string(k)] = slices.Clone(v)
}

// orphan takes a record from a page that nothing leads to: it may be lost, or an older state of one that is not.
// Readings, actions, anchors and boots never change, so they may be taken from anywhere; a run only where there is none.
// A longer chunk replaces a shorter one with the same first reading.
func (s *salvage) orphan(k, v []byte) {
	if station, rs, err := s.d.decode(v, nil); err == nil {
		path := []string{string(bucketReadings), station}
		old := s.buckets[strings.Join(path, "\x00")][string(k)]
		if fits(&s.d, path, k, v) == nil && s.count(old) < len(rs) {
			s.put(path, k, v)
		}
		return
	}
	for _, bucket := range [][]byte{bucketActions, bucketAnchors, bucketRuns, bucketBoots} {
		if looksLike(bucket, k, v) && fits(&s.d, []string{string(bucket)}, k, v) == nil {
			if s.buckets[string(bucket)][string(k)] == nil {
				s.put([]string{string(bucket)}, k, v)
			}
			return
		}
	}
}

// looksLike tells the kinds of record apart by the names in them, which fits takes for granted.
func looksLike(bucket, k, v []byte) bool {
	p, err := unseal(v)
	if err != nil {
		return false
	}
	has := func(name string) bool { return bytes.Contains(p, []byte("\""+name+"\":")) }
	switch string(bucket) {
	case string(bucketActions):
		return len(k) == 20 && has("when") && has("id")
	case string(bucketAnchors):
		return len(k) == 12 && has("wall") && has("synced")
	case string(bucketRuns):
		return len(k) == 4 && has("started") && !has("algorithm")
	}
	return len(k) == 4 && bytes.HasPrefix(p, []byte(`{"id":`)) && !has("kind")
}

func (s *salvage) count(record []byte) int {
	_, rs, err := s.d.decode(record, nil)
	if err != nil {
		return 0
	}
	return len(rs)
}

// write makes the new file and returns how many records it has.
func (s *salvage) write(path string) (n int, err error) {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, err
	}
	h, err := openBolt(path, boltOptions(Options{Timeout: lockTimeout}))
	if err != nil {
		return 0, err
	}
	err = migrate(h.DB)
	if err == nil {
		err = h.Update(keepLedger(func(w *writer) error {
			for _, name := range slices.Sorted(maps.Keys(s.buckets)) {
				if err := s.writeBucket(w, name); err != nil {
					return err
				}
			}
			n, err = s.rebuild(w)
			return err
		}))
	}
	return n, errors.Join(err, h.Close())
}

func (s *salvage) writeBucket(w *writer, name string) error {
	switch {
	case name == string(bucketMeta):
		device := s.buckets[name][string(keyDevice)]
		return w.Bucket(bucketMeta).Put(keyDevice, device)
	case ledgerIndex([]byte(strings.Split(name, "\x00")[0])) < 0 || isIndex(name):
		return nil
	}
	path := strings.Split(name, "\x00")
	b := w.in([]byte(path[0]))
	for _, p := range path[1:] {
		var err error
		if b, err = b.sub(p); err != nil {
			return err
		}
	}
	b.FillPercent = 1
	if path[0] == string(bucketReadings) {
		return s.writeReadings(b, path[1], s.buckets[name])
	}
	for _, k := range slices.Sorted(maps.Keys(s.buckets[name])) {
		if err := b.Put([]byte(k), s.buckets[name][k]); err != nil {
			return err
		}
	}
	return nil
}

// writeReadings writes the chunks; those that overlap, because an older state of one was found, are merged.
func (s *salvage) writeReadings(b records, station string, chunks map[string][]byte) error {
	var end rise.Stamp
	for _, k := range slices.Sorted(maps.Keys(chunks)) {
		_, rs, err := s.d.decode(chunks[k], nil)
		if err != nil {
			return err
		}
		if end.Before(rs[0].Stamp) {
			err = b.Put([]byte(k), chunks[k])
		} else {
			err = appendReadings(b, &s.d, station, rs)
		}
		if err != nil {
			return err
		}
		if last := rs[len(rs)-1].Stamp; end.Before(last) {
			end = last
		}
	}
	return nil
}
