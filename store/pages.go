package store

import (
	"encoding/binary"
	"fmt"
	"io"
)

// This file reads a bbolt file (version 2 of its format) by plain reads, checking every offset: bbolt maps the file
// and trusts it, so a spoiled page is a panic there, or a memory fault. Numbers are in the machine's byte order, which
// is little-endian on every machine this program is built for.

// A page begins with 8 bytes of its own number, 2 of flags, 2 of its count of elements, 4 of the count of pages that
// continue it.
const pageHeader = 16

const (
	flagBranch   = 0x01
	flagLeaf     = 0x02
	flagMeta     = 0x04
	flagFreelist = 0x10
)

const (
	boltMagic   = 0xED0CDAED
	boltVersion = 2
	noFreelist  = 1<<64 - 1
)

// pager walks the tree of pages.
type pager struct {
	f       io.ReaderAt
	g       geometry
	used    map[uint64]string // page: who uses it
	top     map[string]bool   // the top buckets there are
	damaged func(where string, err error)
}

func newPager(f io.ReaderAt, g geometry) *pager {
	return &pager{f: f, g: g, used: map[uint64]string{0: "meta", 1: "meta"}, top: map[string]bool{}, damaged: func(string, error) {}}
}

func (p *pager) usedPages() int { return len(p.used) }

// maxDepth bounds nested buckets and levels of branches: ours need 2 and about 4.
const maxDepth = 16

// bucket calls fn for each key and value of the bucket whose root page is id, and of the buckets within.
func (p *pager) bucket(path []string, id uint64, fn func(path []string, k, v []byte)) {
	p.tree(path, id, 0, fn)
}

func (p *pager) tree(path []string, id uint64, depth int, fn func(path []string, k, v []byte)) {
	b, err := p.take(id, flagBranch|flagLeaf, fmt.Sprint(path))
	if err == nil && depth+len(path) > maxDepth {
		err = fmt.Errorf("page %d is nested too deep: %w", id, ErrDamaged)
	}
	if err != nil {
		p.damaged(fmt.Sprintf("pages of %v", path), err)
		return
	}
	p.elements(path, b, depth, fn)
}

// take reads a page with those that continue it, and notes that it is used.
func (p *pager) take(id uint64, kinds uint16, by string) ([]byte, error) {
	if err := p.g.checkPage(p.f, id, kinds); err != nil {
		return nil, err
	}
	head := make([]byte, pageHeader)
	if _, err := p.f.ReadAt(head, int64(id)*p.g.page); err != nil {
		return nil, err
	}
	more := uint64(binary.LittleEndian.Uint32(head[12:]))
	if id+more >= p.g.pages {
		return nil, fmt.Errorf("page %d has %d more: %w", id, more, ErrDamaged)
	}
	for i := id; i <= id+more; i++ {
		if other, ok := p.used[i]; ok {
			return nil, fmt.Errorf("page %d is used by %s already: %w", i, other, ErrDamaged)
		}
		p.used[i] = by
	}
	b := make([]byte, int64(1+more)*p.g.page)
	_, err := p.f.ReadAt(b, int64(id)*p.g.page)
	return b, err
}

// elements goes through a branch or leaf page. An element of a branch is 4 bytes of offset from itself, 4 of key size
// and 8 of page number; one of a leaf 4 bytes each of flags (1 is a bucket), offset, key size and value size. The value
// of a bucket is 8 bytes of root page and 8 of sequence; root 0 means that its only page follows inside the value.
func (p *pager) elements(path []string, b []byte, depth int, fn func(path []string, k, v []byte)) {
	le := binary.LittleEndian
	leaf := le.Uint16(b[8:]) == flagLeaf
	for i := range int(le.Uint16(b[10:])) {
		at := pageHeader + 16*i
		if at+16 > len(b) {
			p.damaged(fmt.Sprintf("pages of %v", path), fmt.Errorf("element %d is beyond its page: %w", i, ErrDamaged))
			return
		}
		e := b[at:]
		if !leaf {
			p.tree(path, le.Uint64(e[8:]), depth+1, fn)
			continue
		}
		flags, pos, nk, nv := le.Uint32(e), uint64(le.Uint32(e[4:])), uint64(le.Uint32(e[8:])), uint64(le.Uint32(e[12:]))
		if pos+nk+nv > uint64(len(e)) || flags > 1 {
			p.damaged(fmt.Sprintf("pages of %v", path), fmt.Errorf("element %d is beyond its page: %w", i, ErrDamaged))
			continue
		}
		k, v := e[pos:pos+nk:pos+nk], e[pos+nk:pos+nk+nv]
		if flags == 0 {
			if len(path) > 0 {
				fn(path, k, v)
			}
			continue
		}
		p.nested(append(path[:len(path):len(path)], string(k)), v, depth, fn)
	}
}

func (p *pager) nested(path []string, v []byte, depth int, fn func(path []string, k, v []byte)) {
	if len(path) == 1 {
		p.top[path[0]] = true
	}
	switch {
	case len(v) < 16 || len(path) > maxDepth:
		p.damaged(fmt.Sprint(path), fmt.Errorf("bucket of %d bytes: %w", len(v), ErrDamaged))
	case binary.LittleEndian.Uint64(v) != 0:
		p.tree(path, binary.LittleEndian.Uint64(v), 0, fn)
	case len(v) < 16+pageHeader || binary.LittleEndian.Uint16(v[16+8:]) != flagLeaf:
		p.damaged(fmt.Sprint(path), fmt.Errorf("page within a bucket is spoiled: %w", ErrDamaged))
	default:
		p.elements(path, v[16:], depth, fn)
	}
}

// checkTop checks that all the buckets of a store are there, if it has a schema at all.
func (p *pager) checkTop() {
	for _, name := range ledgered {
		if p.top[string(bucketMeta)] && !p.top[string(name)] {
			p.damaged(string(name), fmt.Errorf("no such bucket: %w", ErrDamaged))
		}
	}
}

// checkFree checks that the free list names each page that is not used, and no other.
func (p *pager) checkFree() {
	if p.g.freelist == noFreelist {
		return
	}
	b, err := p.take(p.g.freelist, flagFreelist, "free list")
	if err != nil {
		p.damaged("free list", err)
		return
	}
	le := binary.LittleEndian
	ids := b[pageHeader:]
	n := uint64(le.Uint16(b[10:]))
	if n == 0xFFFF { // then the count stands in front
		n, ids = le.Uint64(ids), ids[8:]
	}
	if n > uint64(len(ids)/8) {
		p.damaged("free list", fmt.Errorf("%d pages in %d bytes: %w", n, len(ids), ErrDamaged))
		return
	}
	free := map[uint64]bool{}
	for i := range n {
		id := le.Uint64(ids[8*i:])
		if by, used := p.used[id]; used || free[id] || id < 2 || id >= p.g.pages {
			p.damaged("free list", fmt.Errorf("page %d cannot be free, it is used by %q: %w", id, by, ErrDamaged))
			return
		}
		free[id] = true
	}
	if lost := int(p.g.pages) - len(p.used) - len(free); lost > 0 {
		p.damaged("free list", fmt.Errorf("%d pages are neither used nor free: %w", lost, ErrDamaged))
	}
}

// orphans calls fn for each key and value on leaf pages that bucket has not come to. Those may be of any age, and what
// continued them may be something else by now.
func (p *pager) orphans(fn func(k, v []byte)) {
	quiet := *p
	quiet.damaged = func(string, error) {}
	take := func(_ []string, k, v []byte) { fn(k, v) }
	for id := uint64(2); id < p.g.pages; id++ {
		if _, used := p.used[id]; used || p.g.checkPage(p.f, id, flagLeaf) != nil {
			continue
		}
		more := uint64(0)
		var head [pageHeader]byte
		if _, err := p.f.ReadAt(head[:], int64(id)*p.g.page); err == nil {
			more = min(uint64(binary.LittleEndian.Uint32(head[12:])), p.g.pages-1-id)
		}
		b := make([]byte, int64(1+more)*p.g.page)
		if _, err := p.f.ReadAt(b, int64(id)*p.g.page); err == nil {
			quiet.elements([]string{"orphan"}, b, 0, take)
		}
	}
}
