package store

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"io"
	"os"
)

// geometry is what the newer valid one of the two meta pages says.
type geometry struct {
	page     int64 // bytes
	root     uint64
	freelist uint64
	pages    uint64 // the first page number never used
	txid     uint64
	// older tells that the other meta page is spoiled, so that the newest commit may be lost.
	older bool
}

// readMeta reads the meta page at an offset: magic, version, page size, flags (4 bytes each), then root page, the root
// bucket's sequence, free list, high water mark, transaction and checksum (8 bytes each). The checksum is FNV-1a of
// what stands before it.
func readMeta(r io.ReaderAt, at int64) (geometry, bool) {
	var b [80]byte
	if _, err := r.ReadAt(b[:], at); err != nil {
		return geometry{}, false
	}
	m := b[pageHeader:]
	sum := fnv.New64a()
	sum.Write(m[:56])
	le := binary.LittleEndian
	ok := le.Uint32(m) == boltMagic && le.Uint32(m[4:]) == boltVersion && le.Uint64(m[56:]) == sum.Sum64()
	g := geometry{
		page: int64(le.Uint32(m[8:])), root: le.Uint64(m[16:]), freelist: le.Uint64(m[32:]), pages: le.Uint64(m[40:]),
		txid: le.Uint64(m[48:]),
	}
	return g, ok && g.page >= 1024 && g.page <= 1<<16 && g.page&(g.page-1) == 0
}

// readGeometry finds the meta page in force and checks that the file has all the pages it speaks of, and that the
// root and the free list are what they should be.
func readGeometry(f *os.File) (geometry, error) {
	info, err := f.Stat()
	if err != nil {
		return geometry{}, err
	}
	if info.Size() == 0 {
		return geometry{}, fmt.Errorf("empty file: %w", ErrDamaged)
	}
	g, ok := newerMeta(f)
	if !ok {
		return geometry{}, fmt.Errorf("no valid beginning in %d bytes: %w", info.Size(), ErrDamaged)
	}
	if has := uint64(info.Size() / g.page); has < g.pages {
		return g, fmt.Errorf("cut short: %d pages of %d: %w", has, g.pages, ErrDamaged)
	}
	if err := g.checkPage(f, g.root, flagLeaf|flagBranch); err != nil {
		return g, err
	}
	if g.freelist == noFreelist {
		return g, nil
	}
	return g, g.checkPage(f, g.freelist, flagFreelist)
}

// newerMeta reads both meta pages. The second stands at the page size, which the first may not be there to tell.
func newerMeta(f io.ReaderAt) (geometry, bool) {
	g, ok := readMeta(f, 0)
	for size := int64(1024); size <= 1<<16; size *= 2 {
		second, ok2 := readMeta(f, size)
		switch {
		case !ok2 || second.page != size:
		case !ok:
			second.older = true
			return second, true
		case second.txid > g.txid:
			return second, true
		default:
			return g, true
		}
	}
	g.older = true
	return g, ok
}

// checkPage checks that a page is where its number says and is of one of the kinds.
func (g geometry) checkPage(f io.ReaderAt, id uint64, kinds uint16) error {
	if id < 2 || id >= g.pages {
		return fmt.Errorf("page %d of %d: %w", id, g.pages, ErrDamaged)
	}
	var b [pageHeader]byte
	if _, err := f.ReadAt(b[:], int64(id)*g.page); err != nil {
		return err
	}
	le := binary.LittleEndian
	flags := le.Uint16(b[8:])
	if le.Uint64(b[:]) != id || flags&kinds == 0 || flags&(flags-1) != 0 {
		return fmt.Errorf("page %d is spoiled: %w", id, ErrDamaged)
	}
	return nil
}
