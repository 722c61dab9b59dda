package store

import (
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"nightjar/rise"
)

// A chunk is the record of successive readings of one station in one boot. Its payload is
//
//	uvarint   length of the station's name, then the name
//	uvarint   boot number
//	uvarint   boot time of the first reading, ms
//	uvarint   number of readings, at least 1
//	uvarint   number of different faults, then each as uvarint length and text
//	bits      the columns (column.go), one after the other, padded to a whole byte
//
// The columns are: ms since the reading before; fault (0 for none, else its place in the list); valid; of; the counts
// of each status; then for each of range, spread, signal, ambient, sigma, level, jar °C, dough °C, room °C and room
// humidity a column of 1 for known and 0 for unknown, a bit, and a column of the known numbers: in the steps of
// rise.Rounded if the bit is 0. If it is 1 the numbers are those that their source counts in (counted.go).
// The station's name makes a chunk readable where the pages that lead to it are lost.

const (
	// chunkReadings is the most readings in a chunk, unless more of them have the same stamp.
	chunkReadings = 640
	// chunkBytes is the size at which a chunk is full: two fill a page.
	chunkBytes = 2000
	// maxChunk bounds what a reader believes.
	maxChunk = 1 << 16
)

// numbers lists a reading's numbers that may be unknown, in stored order, with the steps they are kept in and what their
// source may count in instead.
var numbers = []number{
	{func(r *rise.Reading) *rise.Num { return &r.RangeMM }, rise.StepsPerMM, sums{}},
	{func(r *rise.Reading) *rise.Num { return &r.SpreadMM }, rise.StepsPerMM, nil},
	{func(r *rise.Reading) *rise.Num { return &r.SignalMcps }, rise.StepsPerMcps, nil},
	{func(r *rise.Reading) *rise.Num { return &r.AmbientMcps }, rise.StepsPerMcps, nil},
	{func(r *rise.Reading) *rise.Num { return &r.SigmaMM }, rise.StepsPerMM, nil},
	{func(r *rise.Reading) *rise.Num { return &r.LevelMM }, rise.StepsPerMM, nil},
	{func(r *rise.Reading) *rise.Num { return &r.JarC }, rise.StepsPerC, sixteenths{}},
	{func(r *rise.Reading) *rise.Num { return &r.DoughC }, rise.StepsPerC, sixteenths{}},
	{func(r *rise.Reading) *rise.Num { return &r.RoomC }, rise.StepsPerC, sixteenths{}},
	{func(r *rise.Reading) *rise.Num { return &r.RoomRH }, rise.StepsPerPct, nil},
}

type number struct {
	of      func(*rise.Reading) *rise.Num
	per     float64
	counted counted
}

// chunkHead is what stands before a chunk's columns.
type chunkHead struct {
	station string
	first   rise.Stamp
	n       int
	faults  []rise.Fault
}

// encodeChunk is the record of readings of one station and one boot, in order; there is at least one.
func encodeChunk(station string, rs []rise.Reading) []byte {
	h := chunkHead{station: station, first: rs[0].Stamp, n: len(rs)}
	codes := h.faultCodes(rs)
	w := bitWriter{b: h.append(make([]byte, 1, chunkBytes+256))}
	col := make([]int64, 0, len(rs))
	put := func(of func(i int) int64) {
		col = col[:0]
		for i := range rs {
			col = append(col, of(i))
		}
		putColumn(&w, col)
	}
	put(func(i int) int64 { return (rs[i].At - rs[max(0, i-1)].At).Milliseconds() })
	putColumn(&w, codes)
	put(func(i int) int64 { return int64(rs[i].Valid) })
	put(func(i int) int64 { return int64(rs[i].Of) })
	for s := range rise.StatusCount {
		put(func(i int) int64 { return int64(rs[i].Statuses[s]) })
	}
	for _, num := range numbers {
		putNumbers(&w, rs, num)
	}
	return seal(w.bytes())
}

func putNumbers(w *bitWriter, rs []rise.Reading, num number) {
	known, steps, valid := make([]int64, len(rs)), make([]int64, 0, len(rs)), make([]int64, 0, len(rs))
	for i := range rs {
		if s, ok := num.of(&rs[i]).Steps(num.per); ok {
			known[i] = 1
			steps, valid = append(steps, s), append(valid, int64(rs[i].Valid))
		}
	}
	putColumn(w, known)
	if num.counted != nil {
		if counts, ok := countAll(num.counted, steps, valid); ok {
			w.bits(1, 1)
			putColumn(w, counts)
			return
		}
	}
	w.bits(0, 1)
	putColumn(w, steps)
}

// faultCodes fills in the list of faults and returns each reading's place in it, from 1.
func (h *chunkHead) faultCodes(rs []rise.Reading) []int64 {
	codes := make([]int64, len(rs))
	for i, r := range rs {
		if r.Fault == rise.FaultNone {
			continue
		}
		at := slices.Index(h.faults, r.Fault)
		if at < 0 {
			at = len(h.faults)
			h.faults = append(h.faults, r.Fault)
		}
		codes[i] = int64(at + 1)
	}
	return codes
}

func (h *chunkHead) append(b []byte) []byte {
	b = appendText(b, h.station)
	b = binary.AppendUvarint(b, uint64(h.first.Boot))
	b = binary.AppendUvarint(b, uint64(h.first.At.Milliseconds()))
	b = binary.AppendUvarint(b, uint64(h.n))
	b = binary.AppendUvarint(b, uint64(len(h.faults)))
	for _, f := range h.faults {
		b = appendText(b, string(f))
	}
	return b
}

func appendText(b []byte, s string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

// readHead reads the head of a chunk's payload and returns the columns' bytes.
func readHead(p []byte) (h chunkHead, columns []byte, err error) {
	r := byteReader{b: p}
	h.station = r.text()
	boot, ms, n, faults := r.uvarint(), r.uvarint(), r.uvarint(), r.uvarint()
	if r.bad || boot > 1<<32-1 || ms > 1<<53 || n < 1 || n > maxChunk || faults > n {
		return h, nil, fmt.Errorf("head of a chunk: %w", ErrDamaged)
	}
	h.first = rise.Stamp{Boot: uint32(boot), At: time.Duration(ms) * time.Millisecond}
	h.n = int(n)
	for range faults {
		h.faults = append(h.faults, rise.Fault(r.text()))
	}
	if r.bad {
		return h, nil, fmt.Errorf("faults of a chunk: %w", ErrDamaged)
	}
	return h, r.b, nil
}

// chunkDecoder decodes chunks and keeps its working space between them.
type chunkDecoder struct {
	col, known []int64
}

// decode reads a chunk's record and appends its readings, without wall time, to rs.
func (d *chunkDecoder) decode(record []byte, rs []rise.Reading) (string, []rise.Reading, error) {
	p, err := unseal(record)
	if err != nil {
		return "", rs, err
	}
	h, columns, err := readHead(p)
	if err != nil {
		return "", rs, err
	}
	d.col, d.known = grown(d.col, h.n), grown(d.known, h.n)
	begin := len(rs)
	rs = slices.Grow(rs, h.n)[:begin+h.n]
	in := rs[begin:]
	clear(in)
	r := bitReader{b: columns}
	if err := d.plain(&r, &h, in); err != nil {
		return "", rs[:begin], err
	}
	for _, num := range numbers {
		d.numbers(&r, in, num)
	}
	if err := r.end(); err != nil {
		return "", rs[:begin], err
	}
	return h.station, rs, nil
}

func grown(s []int64, n int) []int64 { return slices.Grow(s[:0], n)[:n] }

// plain reads the columns that are always known.
func (d *chunkDecoder) plain(r *bitReader, h *chunkHead, rs []rise.Reading) error {
	column(r, d.col)
	at := h.first.At
	for i := range rs {
		at += time.Duration(d.col[i]) * time.Millisecond
		rs[i].Stamp = rise.Stamp{Boot: h.first.Boot, At: at}
	}
	column(r, d.col)
	for i, c := range d.col {
		if c < 0 || c > int64(len(h.faults)) {
			return fmt.Errorf("fault of a reading: %w", ErrDamaged)
		}
		if c > 0 {
			rs[i].Fault = h.faults[c-1]
		}
	}
	column(r, d.col)
	for i := range rs {
		rs[i].Valid = int(d.col[i])
	}
	column(r, d.col)
	for i := range rs {
		rs[i].Of = int(d.col[i])
	}
	for s := range rise.StatusCount {
		column(r, d.col)
		for i := range rs {
			rs[i].Statuses[s] = uint16(d.col[i])
		}
	}
	return nil
}

func (d *chunkDecoder) numbers(r *bitReader, rs []rise.Reading, num number) {
	column(r, d.known)
	n := 0
	for _, k := range d.known {
		n += int(k & 1)
	}
	isCounted := r.bits(1) == 1 && num.counted != nil
	steps := d.col[:n]
	column(r, steps)
	for i, k := range d.known {
		if k&1 == 0 {
			continue
		}
		s := steps[0]
		if steps = steps[1:]; isCounted {
			s = num.counted.steps(s, int64(rs[i].Valid))
		}
		*num.of(&rs[i]) = rise.FromSteps(s, num.per)
	}
}

// byteReader reads varints and texts; it gives zeros once something did not fit.
type byteReader struct {
	b   []byte
	bad bool
}

func (r *byteReader) uvarint() uint64 {
	v, n := binary.Uvarint(r.b)
	if n <= 0 {
		r.bad = true
		return 0
	}
	r.b = r.b[n:]
	return v
}

func (r *byteReader) text() string {
	n := r.uvarint()
	if n > uint64(len(r.b)) {
		r.bad = true
		return ""
	}
	s := string(r.b[:n])
	r.b = r.b[n:]
	return s
}
