package rise

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// good makes good samples of ranges.
func good(mm ...float64) []Sample {
	var out []Sample
	for _, x := range mm {
		out = append(out, Sample{RangeMM: x, SignalMcps: Known(10), AmbientMcps: Known(0.5), SigmaMM: Known(2)})
	}
	return out
}

func TestBurstIsTheMeanAndStandardDeviation(t *testing.T) {
	t.Parallel()
	xs := []float64{101, 102, 102, 103, 101, 100, 102, 101}
	mean, sd := stat.MeanStdDev(xs, nil) // gonum as the oracle
	var b Burster
	got := b.Burst(good(xs...), 8)
	assert.InDelta(t, mean, got.RangeMM.Or(-1), 0.005)
	assert.InDelta(t, sd, got.SpreadMM.Or(-1), 0.005)
	assert.Equal(t, 8, got.Valid)
	assert.Equal(t, 8, got.Of)
	assert.Equal(t, Known(10), got.SignalMcps)
	assert.Equal(t, Known(0.5), got.AmbientMcps)
	assert.Equal(t, Known(2), got.SigmaMM)
}

func TestBurstCountsBadStatusesAndNeverAveragesThem(t *testing.T) {
	t.Parallel()
	for status := range Status(StatusCount) {
		samples := append(good(100, 101, 102), Sample{RangeMM: 101.5, Status: status, SignalMcps: Known(1)})
		var b Burster
		got := b.Burst(samples, 4)
		if status == StatusGood {
			assert.Equal(t, 4, got.Valid)
			continue
		}
		assert.Equal(t, 3, got.Valid, status)
		assert.Equal(t, Known(101), got.RangeMM, status)
		assert.Equal(t, Known(10), got.SignalMcps, status)
		assert.Equal(t, uint16(1), got.Statuses[status], status)
	}
}

func TestBurstWithoutAGoodRange(t *testing.T) {
	t.Parallel()
	var b Burster
	got := b.Burst([]Sample{{Status: StatusWeak, SignalMcps: Known(1)}, {Status: StatusWrapped, SignalMcps: Known(3)}}, 20)
	assert.Equal(t, Burst{Of: 20, SignalMcps: Known(2), Statuses: [StatusCount]uint16{StatusWeak: 1, StatusWrapped: 1}}, got)
	assert.Equal(t, Burst{Of: 20}, b.Burst(nil, 20))
}

func TestBurstRefusesWhatCannotBeARange(t *testing.T) {
	t.Parallel()
	for _, mm := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1} {
		var b Burster
		got := b.Burst(good(100, mm, 102), 3)
		assert.Equal(t, Known(101), got.RangeMM, mm)
		assert.Equal(t, uint16(1), got.Statuses[StatusOther], mm)
	}
	var b Burster
	assert.Equal(t, uint16(1), b.Burst([]Sample{{Status: 200}}, 1).Statuses[StatusOther])
}

func TestBurstRejectsOutliers(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		samples []float64
		mean    float64
		valid   int
	}{
		{"3 mm from the median is kept", []float64{100, 100, 100, 103}, 100.75, 4},
		{"4 mm is not", []float64{100, 100, 100, 104}, 100, 3},
		{"short flashes among long ranges (stm32duino/VL53L1X issue 7)", []float64{1800, 1801, 22, 1799, 0, 1800}, 1800, 4},
		{"8190 taken for a range (pololu/vl53l0x-arduino issue 28)", []float64{120, 121, 8190, 122}, 121, 3},
		{"a single range", []float64{77}, 77, 1},
	}
	for _, tt := range tests {
		var b Burster
		got := b.Burst(good(tt.samples...), len(tt.samples))
		assert.Equal(t, Known(tt.mean), got.RangeMM, tt.name)
		assert.Equal(t, tt.valid, got.Valid, tt.name)
		assert.Equal(t, uint16(len(tt.samples)), got.Statuses[StatusGood], tt.name)
	}
}

func TestBurstOfTwoHalvesIsNoRange(t *testing.T) {
	t.Parallel()
	var b Burster
	b.Burst(good(100, 101, 100, 101), 4) // the spread is known
	got := b.Burst(good(100, 100, 60, 60), 4)
	assert.Zero(t, got.Valid)
	assert.False(t, got.RangeMM.IsKnown())
	assert.Equal(t, uint16(4), got.Statuses[StatusGood])
	assert.Equal(t, Known(10), got.SignalMcps)
}

// TestAGhostAmongNothingIsNoRange: rare single ranges of the status "valid" with nothing in view are known of the
// VL53L4CD; k of n must agree.
func TestAGhostAmongNothingIsNoRange(t *testing.T) {
	t.Parallel()
	for ghosts, want := range map[int]int{0: 0, 1: 0, 4: 0, 5: 5} {
		var samples []Sample
		for i := range 20 {
			s := Sample{RangeMM: 90, SignalMcps: Known(1)}
			if i >= ghosts {
				s.Status = StatusWeak
			}
			samples = append(samples, s)
		}
		var b Burster
		got := b.Burst(samples, 20)
		assert.Equal(t, want, got.Valid, ghosts)
		assert.Equal(t, want > 0, got.RangeMM.IsKnown(), ghosts)
		assert.Equal(t, uint16(ghosts), got.Statuses[StatusGood])
		assert.Equal(t, Known(1), got.SignalMcps, ghosts)
	}
}

func TestSpreadHasTheFloorOfRounding(t *testing.T) {
	t.Parallel()
	var b Burster
	b.Burst(good(100, 100, 100), 3)
	assert.InDelta(t, 0.288675, b.SpreadMM(), 1e-6, "1/√12: the variance of rounding, JCGM 100 F.2.2.1")
	fine := Burster{ResolutionMM: 0.25}
	assert.InDelta(t, 0.0721688, fine.SpreadMM(), 1e-6)
}

// TestNoiseIsLearned: a noisy surface is not cut to the least gate. Fixed seed.
func TestNoiseIsLearned(t *testing.T) {
	t.Parallel()
	const sigma, seed = 6.0, 7
	rng := rand.New(rand.NewPCG(seed, 0))
	var b Burster
	kept, sum, bursts := 0, 0.0, 400
	for range bursts {
		var xs []float64
		for range 20 {
			xs = append(xs, math.Round(150+sigma*rng.NormFloat64()))
		}
		got := b.Burst(good(xs...), 20)
		kept += got.Valid
		sum += got.RangeMM.Or(math.NaN())
	}
	// 4 σ leaves 6e-5 outside; the floor allows for the first bursts.
	assert.Greater(t, float64(kept)/float64(20*bursts), 0.995, "seed %d", seed)
	assert.InDelta(t, sigma, b.SpreadMM(), 0.5, "seed %d", seed)
	assert.InDelta(t, 150, sum/float64(bursts), 4*sigma/math.Sqrt(float64(20*bursts)), "seed %d", seed)
}

// TestMeanResolvesWhatTheMedianCannot: whole millimetres with 1 mm noise give the mean to far below a millimetre.
func TestMeanResolvesWhatTheMedianCannot(t *testing.T) {
	t.Parallel()
	const seed = 11
	rng := rand.New(rand.NewPCG(seed, 0))
	var b Burster
	var errs []float64
	for i := range 2000 {
		truth := 100 + float64(i)/1000
		var xs []float64
		for range 20 {
			xs = append(xs, math.Round(truth+rng.NormFloat64()))
		}
		errs = append(errs, b.Burst(good(xs...), 20).RangeMM.Or(math.NaN())-truth)
	}
	mean, sd := stat.MeanStdDev(errs, nil)
	assert.InDelta(t, 0, mean, 0.02, "seed %d", seed)
	assert.InDelta(t, math.Sqrt((1+1.0/12)/20), sd, 0.015, "seed %d", seed)
}

func TestBurstDoesNotDependOnOrder(t *testing.T) {
	t.Parallel()
	samples := good(100, 103, 99, 140, 101, 100)
	var a, b Burster
	back := slices.Clone(samples)
	slices.Reverse(back)
	want := a.Burst(samples, 6)
	require.Equal(t, want, b.Burst(back, 6))
	assert.Equal(t, 103.0, samples[1].RangeMM, "the samples are not changed")
}

func TestBurstDoesNotAllocate(t *testing.T) {
	samples := good(100, 101, 102, 103, 150, 100, 101, 102, 100, 101)
	var b Burster
	b.Burst(samples, 10)
	assert.Zero(t, testing.AllocsPerRun(100, func() { b.Burst(samples, 10) }))
}

func BenchmarkBurst(b *testing.B) {
	samples := good(100, 101, 102, 103, 150, 100, 101, 102, 100, 101, 100, 101, 102, 103, 101, 100, 101, 102, 100, 101)
	var s Burster
	b.ReportAllocs()
	for b.Loop() {
		s.Burst(samples, 20)
	}
}
