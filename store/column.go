package store

import "math/bits"

// A column of integers is written in one of three ways, whichever is shortest:
//
//	1                        all values are the first one
//	01 divisor runs k        differences that are mostly zero: how many zeros, then one that is not, in turn
//	00 divisor shift k       differences from a running mean, v − m, with m += (v − m)/2^shift
//
// Each begins with the first value. Differences are divided by the greatest divisor they all have (a probe moves in
// steps of 1/16 °C), made positive by zigzag and written as Rice codes with parameter k. The running mean stays near
// a level that creeps while each reading scatters, and needs half a bit less than differences from the last value do.

// maxShift is the slowest running mean tried; meanBits the fraction bits it is kept with.
const (
	maxShift = 3
	meanBits = 8
)

// mean is the running mean that predicts the next value.
type mean struct {
	m     int64
	shift uint
}

func newMean(first int64, shift uint) mean { return mean{m: first << meanBits, shift: shift} }

func (p *mean) next() int64   { return (p.m + 1<<(meanBits-1)) >> meanBits }
func (p *mean) learn(v int64) { p.m += (v<<meanBits - p.m) >> p.shift }

// putColumn writes the values; their number is known to the reader. Values are below 2^54 in size.
func putColumn(w *bitWriter, vs []int64) {
	if len(vs) == 0 {
		return
	}
	w.number(zigzag(vs[0]))
	g := divisor(vs)
	if g == 0 {
		w.bits(1, 1)
		return
	}
	scaled := make([]int64, len(vs))
	for i, v := range vs {
		scaled[i] = (v - vs[0]) / int64(g)
	}
	shift, k, cost := bestShift(scaled)
	if runs, sparse := sparseRuns(scaled); sparse != nil {
		kr, cr := riceParameter(runs)
		ks, cs := riceParameter(sparse)
		if cr+cs < cost {
			putSparse(w, g, runs, sparse, kr, ks)
			return
		}
	}
	w.bits(0, 2)
	w.number(g)
	w.bits(uint64(shift), 2)
	w.bits(uint64(k), 6)
	for _, u := range residuals(nil, scaled, shift) {
		w.rice(u, k)
	}
}

func putSparse(w *bitWriter, g uint64, runs, sparse []uint64, kr, ks uint) {
	w.bits(2, 2)
	w.number(g)
	w.bits(uint64(kr), 6)
	w.bits(uint64(ks), 6)
	for i, r := range runs {
		w.rice(r, kr)
		if i < len(sparse) {
			w.rice(sparse[i], ks)
		}
	}
}

// divisor is the greatest common divisor of all differences from the first value, 0 if they are all equal.
func divisor(vs []int64) uint64 {
	var g uint64
	for _, v := range vs {
		a := zigzag(v-vs[0]) >> 1
		if v < vs[0] {
			a++ // zigzag of −a is 2a − 1
		}
		for a != 0 {
			g, a = a, g%a
		}
		if g == 1 {
			break
		}
	}
	return g
}

func bestShift(vs []int64) (shift, k uint, cost int) {
	var us []uint64
	for s := uint(0); s <= maxShift; s++ {
		us = residuals(us[:0], vs, s)
		if ks, c := riceParameter(us); s == 0 || c < cost {
			shift, k, cost = s, ks, c
		}
	}
	return shift, k, cost
}

func residuals(us []uint64, vs []int64, shift uint) []uint64 {
	p := newMean(vs[0], shift)
	for _, v := range vs[1:] {
		us = append(us, zigzag(v-p.next()))
		p.learn(v)
	}
	return us
}

// riceParameter is the parameter with which the values take the fewest bits, and how many that is. The search goes down
// from the one for the mean, which a few large values pull up.
func riceParameter(us []uint64) (k uint, cost int) {
	var sum uint64
	for _, u := range us {
		sum += min(u, 1<<40)
	}
	k = uint(bits.Len64(sum / uint64(max(1, len(us)))))
	cost = riceCost(us, k)
	for k > 0 {
		c := riceCost(us, k-1)
		if c > cost {
			break
		}
		k, cost = k-1, c
	}
	return k, cost
}

func riceCost(us []uint64, k uint) (cost int) {
	for _, u := range us {
		if q := u >> k; q < maxUnary {
			cost += int(q) + 1 + int(k)
		} else {
			cost += maxUnary + 7 + bits.Len64(u)
		}
	}
	return cost
}

// sparseRuns splits the differences into the lengths of the runs of zeros and the differences between them, as zigzag
// less one; none if few are zero. The last run may stand alone.
func sparseRuns(vs []int64) (runs, sparse []uint64) {
	zeros := uint64(0)
	for i := 1; i < len(vs); i++ {
		if d := vs[i] - vs[i-1]; d == 0 {
			zeros++
		} else {
			runs, sparse = append(runs, zeros), append(sparse, zigzag(d)-1)
			zeros = 0
		}
	}
	if 2*len(sparse) > len(vs) {
		return nil, nil
	}
	if zeros > 0 {
		runs = append(runs, zeros)
	}
	return runs, sparse
}

// column reads len(vs) values.
func column(r *bitReader, vs []int64) {
	if len(vs) == 0 {
		return
	}
	first := unzigzag(r.number())
	vs[0] = first
	switch {
	case r.bits(1) == 1:
		for i := range vs {
			vs[i] = first
		}
	case r.bits(1) == 1:
		columnSparse(r, vs, int64(r.number()))
	default:
		g := int64(r.number())
		p := newMean(0, uint(r.bits(2)))
		k := uint(r.bits(6))
		for i := 1; i < len(vs); i++ {
			v := p.next() + unzigzag(r.rice(k))
			p.learn(v)
			vs[i] = first + v*g
		}
	}
}

func columnSparse(r *bitReader, vs []int64, g int64) {
	kr, ks := uint(r.bits(6)), uint(r.bits(6))
	for i := 1; i < len(vs); {
		for zeros := r.rice(kr); zeros > 0 && i < len(vs); zeros-- {
			vs[i] = vs[i-1]
			i++
		}
		if i < len(vs) {
			vs[i] = vs[i-1] + unzigzag(r.rice(ks)+1)*g
			i++
		}
	}
}
