package rise

import (
	"math"
	"math/rand/v2"
	"time"
)

// night makes readings of a sample that ferments by a small mechanistic model, not by any curve that is fitted: yeast
// that wakes up, multiplies and runs out of sugar, gas that first dissolves and then leaks faster the more the dough is
// stretched, and a slump after mixing.
type night struct {
	seed  uint64
	hours float64
	every time.Duration
	// baseMM is the height of the fresh gas-free dough; slumpMM what it loses as it settles.
	baseMM, slumpMM float64
	// noiseMM is the standard deviation of a single range, n the ranges of a burst; 0 and 0 give exact levels.
	noiseMM float64
	n       int
	whole   bool
	// floorMM is the true floor distance, claimedMM what the jar says.
	floorMM, claimedMM float64
	tempC              float64
	growth, wake, leak float64
	// dome is how much higher the middle of the surface stands than its mean, as a share of the height risen.
	dome float64
	// only is how many readings are wanted; 0 is all.
	only int
}

func usualNight(seed uint64) night {
	return night{seed: seed, hours: 8, every: 30 * time.Second, baseMM: 30, slumpMM: 1.5, noiseMM: 1, n: 20, floorMM: 150, claimedMM: 150, tempC: 24, growth: 0.55, wake: 1, leak: 0.15}
}

// drawn varies what differs from dough to dough.
func drawn(seed uint64) night {
	r := rand.New(rand.NewPCG(seed, 7))
	n := usualNight(seed)
	n.growth = 0.45 + 0.3*r.Float64()
	n.wake = 0.5 + r.Float64()
	n.leak = 0.1 + 0.15*r.Float64()
	n.slumpMM = 2 * r.Float64()
	n.baseMM = 30 + 0.01*r.Float64()
	return n
}

var nightStart = time.Date(2031, 3, 8, 19, 0, 0, 0, time.UTC)

// levels are the true levels, mm, one a tick.
func (n night) levels() []float64 {
	const sub = 4
	dt := n.every.Hours() / sub
	yeast, awake, sugar, gas, dissolved := 0.1, 0.0, 1.0, 0.0, 0.0
	out := make([]float64, 0, int(n.hours/n.every.Hours())+1)
	for i := 0; float64(i)*dt <= n.hours+1e-9; i++ {
		t := float64(i) * dt
		if i%sub == 0 {
			out = append(out, n.baseMM*(1+gas)+n.slumpMM*math.Exp(-t/0.2))
		}
		awake += dt * (1 - awake) / n.wake
		made := yeast * awake * sugar / (0.1 + sugar)
		yeast += dt * n.growth * yeast * awake * sugar / (0.2 + sugar)
		sugar -= dt * 0.3 * made
		free := max(0, 1-math.Exp(-dissolved/0.12))
		dissolved += dt * made * (1 - free)
		gas += dt * (1.3*made*free - n.leak*gas*gas)
	}
	return out
}

// readings are the levels as a ranger sees them.
func (n night) readings() []Reading {
	r := rand.New(rand.NewPCG(n.seed, 1))
	levels := n.levels()
	if n.only > 0 {
		levels = levels[:n.only]
	}
	out := make([]Reading, 0, len(levels))
	for i, level := range levels {
		level += n.dome * max(0, level-n.baseMM)
		at := time.Duration(i) * n.every
		reading := Reading{Stamp: Stamp{Boot: 1, At: at}, Time: nightStart.Add(at), JarC: Known(n.tempC)}
		reading.Burst = n.burst(r, n.floorMM-level)
		out = append(out, reading)
	}
	return out
}

func (n night) burst(r *rand.Rand, dist float64) Burst {
	if n.n == 0 {
		return Burst{RangeMM: Known(dist)}
	}
	var sum, sum2 float64
	for range n.n {
		v := dist + n.noiseMM*r.NormFloat64()
		if n.whole {
			v = math.Round(v)
		}
		sum, sum2 = sum+v, sum2+v*v
	}
	k := float64(n.n)
	mean := sum / k
	b := Burst{RangeMM: Known(mean), SpreadMM: Known(math.Sqrt(max(0, (sum2-sum*mean)/(k-1)))), Valid: n.n, Of: n.n}
	b.Statuses[StatusGood] = uint16(n.n)
	return b
}

func (n night) jar() Jar {
	return Jar{Name: "test", Version: 1, FloorMM: n.claimedMM, Profile: Profile{Shape: ShapeCylinder, DiameterMM: 70}}
}

func (n night) kase() Case {
	return Case{
		Run: Run{Number: 1, Kind: RunDough, Station: "main", Target: 2, Started: Moment{Stamp: Stamp{Boot: 1}, Wall: nightStart}},
		Jar: n.jar(), Readings: n.readings(),
	}
}

// truth is the multiple of each tick, the true level over the lowest so far.
func (n night) truth() []float64 {
	levels := n.levels()
	low := math.Inf(1)
	out := make([]float64, len(levels))
	for i, l := range levels {
		low = min(low, l)
		out[i] = l / low
	}
	return out
}
