package store

import (
	"encoding/binary"
	"fmt"
	"math/bits"
)

// maxUnary is the longest run of zero bits of a Rice code; a longer quotient is written in full after it.
const maxUnary = 24

// bitWriter appends bits to bytes, lowest bit first.
type bitWriter struct {
	b   []byte
	acc uint64
	n   uint // bits in acc, below 8 between calls
}

func (w *bitWriter) bits(v uint64, n uint) {
	if n > 32 {
		w.bits(v&(1<<32-1), 32)
		v, n = v>>32, n-32
	}
	w.acc |= v << w.n
	w.n += n
	for w.n >= 8 {
		w.b = append(w.b, byte(w.acc))
		w.acc >>= 8
		w.n -= 8
	}
}

// number writes v in 6 bits of length and that many bits, or 7 bits more where it fills 64.
func (w *bitWriter) number(v uint64) {
	n := uint(bits.Len64(v))
	w.bits(uint64(min(n, 63)), 6)
	if n >= 63 {
		n = 64
	}
	w.bits(v, n)
}

// rice writes v as a Rice code: v>>k zero bits, a one, the k lowest bits.
func (w *bitWriter) rice(v uint64, k uint) {
	q := v >> k
	if q >= maxUnary {
		w.bits(1<<maxUnary, maxUnary+1)
		w.number(v)
		return
	}
	w.bits(1<<q, uint(q)+1)
	w.bits(v&(1<<k-1), k)
}

// bytes pads to a whole byte and returns all.
func (w *bitWriter) bytes() []byte {
	if w.n > 0 {
		w.bits(0, 8-w.n)
	}
	return w.b
}

// bitReader takes bits from bytes, lowest bit first. Beyond the end it gives zeros and remembers that it did.
type bitReader struct {
	b    []byte
	acc  uint64
	n    uint // bits in acc
	over bool
}

func (r *bitReader) fill() {
	if len(r.b) >= 8 {
		r.acc |= binary.LittleEndian.Uint64(r.b) << r.n
		took := (63 - r.n) / 8
		r.b = r.b[took:]
		r.n += took * 8
		return
	}
	for r.n <= 56 && len(r.b) > 0 {
		r.acc |= uint64(r.b[0]) << r.n
		r.b = r.b[1:]
		r.n += 8
	}
}

func (r *bitReader) bits(n uint) uint64 {
	if n > 32 {
		low := r.bits(32)
		return low | r.bits(n-32)<<32
	}
	if r.n < n {
		if r.fill(); r.n < n {
			r.over, r.acc, r.n, r.b = true, 0, 64, nil
		}
	}
	v := r.acc & (1<<n - 1)
	r.acc >>= n
	r.n -= n
	return v
}

func (r *bitReader) number() uint64 {
	n := uint(r.bits(6))
	if n == 63 {
		n = 64
	}
	return r.bits(n)
}

func (r *bitReader) rice(k uint) uint64 {
	if r.n <= maxUnary {
		r.fill()
	}
	q := uint(bits.TrailingZeros64(r.acc))
	if q > maxUnary || q >= r.n {
		r.over = true
		return 0
	}
	r.acc >>= q + 1
	r.n -= q + 1
	if q == maxUnary {
		return r.number()
	}
	return uint64(q)<<k | r.bits(k)
}

// end reports whether the bits were all there and nothing but padding is left.
func (r *bitReader) end() error {
	switch {
	case r.over:
		return fmt.Errorf("ends too early: %w", ErrDamaged)
	case len(r.b) > 0 || r.n >= 8 || r.acc != 0:
		return fmt.Errorf("%d bytes too many: %w", len(r.b)+int(r.n/8), ErrDamaged)
	}
	return nil
}

func zigzag(v int64) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }
