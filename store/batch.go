package store

import (
	"fmt"
	"slices"

	"nightjar/rise"
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
