package store

import (
	"math/rand/v2"
	"testing"
)

func BenchmarkChunk(b *testing.B) {
	rs := madeReadings(rand.New(rand.NewPCG(1, 1)), 1, 500)
	record := encodeChunk("sill", rs)
	b.Run("encode", func(b *testing.B) {
		for b.Loop() {
			encodeChunk("sill", rs)
		}
		b.ReportMetric(float64(len(record))/float64(len(rs)), "B/reading")
	})
	b.Run("decode", func(b *testing.B) {
		var d chunkDecoder
		for b.Loop() {
			_, rs, _ = d.decode(record, rs[:0])
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(rs)), "ns/reading")
	})
}
