package store

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// maxGathered bounds what is kept in memory while the disk takes nothing: months of one station's readings. The
// oldest go first beyond it.
const maxGathered = 4 << 20

// A batch is what waits for the next commit.
type batch struct {
	stations map[string]*gathered
	anchors  []rise.Anchor
	// dropped are anchors that later ones made needless.
	dropped []rise.Stamp
}

// gathered are a station's readings that wait, in order: full chunks, so that a long wait costs little memory, and the
// newest as they came.
type gathered struct {
	chunks [][]byte
	counts []int
	bytes  int
	tail   []rise.Reading
	last   rise.Reading
	// mixed tells that some came after later ones.
	mixed bool
}

func (g *gathered) add(station string, r rise.Reading) {
	if len(g.tail) > 0 && (len(g.tail) >= chunkReadings+64 || g.last.Boot != r.Boot) {
		g.pack(station, len(g.tail) >= chunkReadings)
	}
	g.mixed = g.mixed || r.Before(g.last.Stamp)
	g.tail = append(g.tail, r)
	g.last = r
}

// pack makes chunks of the tail, only a full one if full is set.
func (g *gathered) pack(station string, full bool) {
	for len(g.tail) > 0 {
		n, c := largestChunk(station, g.tail)
		g.chunks, g.counts = append(g.chunks, c), append(g.counts, n)
		g.bytes += len(c)
		g.tail = slices.Clone(g.tail[n:])
		if full {
			return
		}
	}
}

// shrink forgets the oldest chunks beyond limit bytes and returns how many readings those had.
func (g *gathered) shrink(limit int) (lost int) {
	for g.bytes > limit && len(g.chunks) > 0 {
		lost += g.counts[0]
		g.bytes -= len(g.chunks[0])
		g.chunks, g.counts = g.chunks[1:], g.counts[1:]
	}
	return lost
}

func (g *gathered) count() int {
	n := len(g.tail)
	for _, c := range g.counts {
		n += c
	}
	return n
}

// readings returns all of them.
func (g *gathered) readings(d *chunkDecoder, rs []rise.Reading) ([]rise.Reading, error) {
	for _, c := range g.chunks {
		var err error
		if _, rs, err = d.decode(c, rs); err != nil {
			return rs, err
		}
	}
	return append(rs, g.tail...), nil
}

// before returns the readings of both, g's first.
func (g *gathered) before(station string, later *gathered) *gathered {
	if later == nil || later.count() == 0 {
		return g
	}
	if g.count() == 0 {
		return later
	}
	if len(later.chunks) > 0 || len(later.tail) > 0 && len(g.tail) > 0 && later.tail[0].Boot != g.last.Boot {
		g.pack(station, false)
	}
	g.mixed = g.mixed || later.mixed || !g.last.Before(later.first())
	g.chunks, g.counts = append(g.chunks, later.chunks...), append(g.counts, later.counts...)
	g.bytes += later.bytes
	g.tail = append(g.tail, later.tail...)
	g.last = later.last
	return g
}

// first is the stamp of the oldest one.
func (g *gathered) first() rise.Stamp {
	if len(g.chunks) == 0 {
		return g.tail[0].Stamp
	}
	p, err := unseal(g.chunks[0])
	if err != nil {
		return rise.Stamp{}
	}
	h, _, _ := readHead(p)
	return h.first
}

func (b *batch) dropAnchor(s rise.Stamp) {
	b.anchors = slices.DeleteFunc(b.anchors, func(a rise.Anchor) bool { return a.Stamp == s })
	b.dropped = append(b.dropped, s)
}

// write puts the batch into the transaction.
func (b *batch) write(w *writer) error {
	anchors := w.in(bucketAnchors)
	anchors.FillPercent = 1
	for _, s := range b.dropped {
		if err := anchors.Delete(appendStamp(nil, s)); err != nil {
			return err
		}
	}
	for _, a := range b.anchors {
		rec, err := encode(a)
		if err != nil {
			return err
		}
		if err := anchors.Put(appendStamp(nil, a.Stamp), rec); err != nil {
			return err
		}
	}
	for station, g := range b.stations {
		if err := g.write(w, station); err != nil {
			return fmt.Errorf("readings of %s: %w", station, err)
		}
	}
	return nil
}

// write appends the readings. The newest chunk is written anew together with them until it is full: the page it
// stands on is written anyway, so chunks are packed from the start.
func (g *gathered) write(w *writer, station string) error {
	if g.count() == 0 {
		return nil
	}
	b, err := w.in(bucketReadings).sub(station)
	if err != nil {
		return err
	}
	b.FillPercent = 1
	var d chunkDecoder
	for i, c := range g.chunks {
		if err := g.writeChunk(b, &d, station, i, c); err != nil {
			return err
		}
	}
	return appendReadings(b, &d, station, slices.Clone(g.tail))
}

// writeChunk writes a full chunk. All but the first follow what was written just before and go in as they are, so that
// trying again and again while the disk takes nothing costs little.
func (g *gathered) writeChunk(b records, d *chunkDecoder, station string, i int, c []byte) error {
	if i > 0 && !g.mixed {
		p, err := unseal(c)
		if err != nil {
			return err
		}
		h, _, err := readHead(p)
		if err != nil {
			return err
		}
		return b.Put(appendStamp(nil, h.first), c)
	}
	_, rs, err := d.decode(c, nil)
	if err != nil {
		return err
	}
	return appendReadings(b, d, station, rs)
}

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

// Add gathers a reading of a station, as Reading.Rounded makes it; readings come in order. It is seen by every reader
// of the DB at once, and is on the card after the next commit of anything. It never waits for the card.
func (db *DB) Add(station string, r rise.Reading) {
	r = r.Rounded()
	db.mu.Lock()
	defer db.mu.Unlock()
	if db.pending.stations == nil {
		db.pending.stations = map[string]*gathered{}
	}
	g := db.pending.stations[station]
	if g == nil {
		g = &gathered{}
		db.pending.stations[station] = g
	}
	g.add(station, r)
	if lost := g.shrink(maxGathered / len(db.pending.stations)); lost > 0 {
		db.log.Error("the disk took nothing for so long that the oldest readings had to go", "station", station, "readings", lost)
	}
}

// Flush commits the readings gathered so far. If it fails they stay in memory, and every later commit tries again.
func (db *DB) Flush() error {
	if db.Unflushed() == 0 {
		return nil
	}
	if err := db.update(func(*writer) error { return nil }); err != nil {
		return fmt.Errorf("flush readings: %w", err)
	}
	return nil
}

// Unflushed counts the readings and anchors that are not committed yet.
func (db *DB) Unflushed() int {
	db.mu.Lock()
	defer db.mu.Unlock()
	return db.pending.count() + db.flushing.count()
}

func (b *batch) count() int {
	n := len(b.anchors)
	for _, g := range b.stations {
		n += g.count()
	}
	return n
}

// take moves what waits into the transaction about to begin.
func (db *DB) take() {
	db.mu.Lock()
	defer db.mu.Unlock()
	db.flushing, db.pending = db.pending, batch{}
}

// settle forgets what was committed, or puts it back in front of what came since.
func (db *DB) settle(committed bool) {
	db.mu.Lock()
	defer db.mu.Unlock()
	old := db.flushing
	db.flushing = batch{}
	if committed {
		return
	}
	for station, g := range old.stations {
		old.stations[station] = g.before(station, db.pending.stations[station])
		delete(db.pending.stations, station)
	}
	for station, g := range db.pending.stations {
		if old.stations == nil {
			old.stations = map[string]*gathered{}
		}
		old.stations[station] = g
	}
	gone := slices.Concat(old.dropped, db.pending.dropped)
	old.anchors = slices.DeleteFunc(slices.Concat(old.anchors, db.pending.anchors), func(a rise.Anchor) bool {
		return slices.Contains(db.pending.dropped, a.Stamp)
	})
	old.dropped = gone
	db.pending = old
}

// errKnown ends a transaction without a commit, because there is nothing new.
var errKnown = errors.New("known")
