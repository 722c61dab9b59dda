package store

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// madeReadings makes readings of every kind: a creeping level with noise, probes in their sixteenths, gaps, faults,
// nothing known.
func madeReadings(rnd *rand.Rand, boot uint32, n int) []rise.Reading {
	at := time.Duration(rnd.IntN(1e6)) * time.Millisecond
	rs := make([]rise.Reading, n)
	level, jar := 120.0, 24.0
	for i := range rs {
		at += 30*time.Second + time.Duration(rnd.NormFloat64()*2e6)
		level -= 0.05 + 0.2*rnd.NormFloat64()
		jar += 0.0625 * float64(rnd.IntN(3)-1)
		r := rise.Reading{Stamp: rise.Stamp{Boot: boot, At: at}}
		r.Of = 20
		switch rnd.IntN(10) {
		case 0:
			r.Fault = []rise.Fault{rise.FaultBus, rise.FaultView, "one of a later version"}[rnd.IntN(3)]
		default:
			r.Valid = 20 - rnd.IntN(2)
			r.RangeMM, r.SpreadMM = rise.Known(level), rise.Known(1+0.1*rnd.NormFloat64())
			r.SignalMcps, r.AmbientMcps = rise.Known(8+0.1*rnd.NormFloat64()), rise.Known(0.02*rnd.Float64())
			r.SigmaMM = rise.Known(1.5 + 0.02*rnd.NormFloat64())
		}
		r.Statuses[rise.StatusGood] = uint16(r.Valid)
		r.Statuses[rise.StatusWeak] = uint16(r.Of - r.Valid)
		if rnd.IntN(20) > 0 {
			r.JarC = rise.Known(jar)
		}
		if rnd.IntN(2) > 0 {
			r.RoomRH = rise.Known(50 + rnd.Float64())
		}
		rs[i] = r.Rounded()
	}
	return rs
}

func TestChunkGivesBackWhatWentIn(t *testing.T) {
	var d chunkDecoder
	for seed := range uint64(100) {
		rnd := rand.New(rand.NewPCG(seed, 1))
		want := madeReadings(rnd, uint32(1+seed), 1+rnd.IntN(chunkReadings))
		station, got, err := d.decode(encodeChunk("sill", want), nil)
		require.NoError(t, err, "seed %d", seed)
		require.Equal(t, "sill", station)
		require.Equal(t, want, got, "seed %d", seed)
	}
}

func TestColumnOfAnything(t *testing.T) {
	for seed := range uint64(2000) {
		rnd := rand.New(rand.NewPCG(seed, 2))
		vs := make([]int64, rnd.IntN(50))
		for i := range vs {
			switch vs[i] = rnd.Int64N(1<<54) - 1<<53; rnd.IntN(4) {
			case 0:
				vs[i] >>= rnd.IntN(54)
			case 1:
				vs[i] = vs[max(0, i-1)]
			case 2:
				vs[i] = 625 * int64(rnd.IntN(5))
			}
		}
		var w bitWriter
		putColumn(&w, vs)
		r := bitReader{b: slices.Clone(w.bytes())}
		got := make([]int64, len(vs))
		column(&r, got)
		require.NoError(t, r.end(), "seed %d", seed)
		require.Equal(t, vs, got, "seed %d", seed)
	}
}

func TestChunkFindsEveryFlippedBit(t *testing.T) {
	rs := madeReadings(rand.New(rand.NewPCG(7, 7)), 3, 40)
	record := encodeChunk("sill", rs)
	var d chunkDecoder
	for bit := range len(record) * 8 {
		record[bit/8] ^= 1 << (bit % 8)
		_, _, err := d.decode(record, nil)
		assert.Error(t, err, "bit %d", bit)
		record[bit/8] ^= 1 << (bit % 8)
	}
}

func FuzzChunk(f *testing.F) {
	for seed := range uint64(4) {
		b := encodeChunk("sill", madeReadings(rand.New(rand.NewPCG(seed, 3)), 1, 1+int(seed*20)))
		f.Add(b[1 : len(b)-4])
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		var d chunkDecoder
		station, rs, err := d.decode(seal(append([]byte{0}, payload...)), nil)
		if err != nil {
			return
		}
		for i := range rs {
			if rs[i] != rs[i].Rounded() || rs[i].Valid < 0 || rs[i].At < 0 || i > 0 && rs[i].Before(rs[i-1].Stamp) {
				return // bytes that no encoder writes
			}
		}
		_, again, err := d.decode(encodeChunk(station, rs), nil)
		require.NoError(t, err)
		require.Equal(t, rs, again)
	})
}
