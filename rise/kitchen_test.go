package rise

import (
	"math"
	"math/rand/v2"
	"time"

	"nightjar/sensor/sim/dough"
)

// kitchen is a night in a kitchen: a dough by sensor/sim/dough, which knows none of the curves fitted here, in a jar that
// was calibrated well, under a ranger that people, steam and power cuts get in the way of.
type kitchen struct {
	r     *rand.Rand
	night dough.Night
	// floorMM is the true floor distance; it moves when something is bumped.
	floorMM, unevenMM float64
	jar               Jar
	readings          []Reading
	// told lists what was done, for messages.
	told []string
}

const (
	kitchenHours  = 13.0
	kitchenUFloor = 0.2
)

// newKitchen draws a night.
func newKitchen(seed uint64) *kitchen {
	r := rand.New(rand.NewPCG(seed, 0x6b69))
	p := dough.Draw(r, dough.Options{Mechanism: dough.Mechanisms[seed%2]})
	room := dough.DrawRoom(r, dough.RoomKinds[seed/2%uint64(len(dough.RoomKinds))])
	k := &kitchen{r: r, night: dough.Simulate(p, room, dough.Span{Hours: kitchenHours})}
	k.floorMM = 150 + 40*r.Float64()
	k.unevenMM = surfaceOf("wheat").uneven * r.NormFloat64()
	k.jar = Jar{Name: "tall", FloorMM: k.floorMM + kitchenUFloor*r.NormFloat64(), UFloorMM: kitchenUFloor, Profile: Profile{Shape: ShapeCylinder, DiameterMM: 70}}
	return k
}

// truth is the multiple of each tick, the mean level over the lowest so far.
func (k *kitchen) truth() []float64 {
	out := make([]float64, len(k.night.LevelMM))
	low := math.Inf(1)
	for i, l := range k.night.LevelMM {
		low = min(low, l)
		out[i] = l / low
	}
	return out
}

// scene is what the ranger sees at a tick: mm to the target, its reflectance, light from the window, Mcps.
type scene struct {
	mm, reflect, window, ambient float64
	blind, off                   bool
	// hidden tells that the dough cannot be seen as it is.
	hidden bool
}

// scenes are the undisturbed night.
func (k *kitchen) scenes() []scene {
	out := make([]scene, len(k.night.SurfaceMM))
	for i, s := range k.night.SurfaceMM {
		out[i] = scene{mm: k.floorMM - s - k.unevenMM, reflect: 0.7, ambient: 0.1}
	}
	return out
}

// span draws a stretch of the night, in ticks, of so many minutes.
func (k *kitchen) span(least, most float64) (from, to int) {
	n := len(k.night.Hours)
	from = k.r.IntN(n - 1)
	minutes := least + (most-least)*k.r.Float64()
	return from, min(n, from+1+int(minutes*2))
}

// chance draws whether something happens.
func (k *kitchen) chance(p float64) bool { return k.r.Float64() < p }

// disturb does to a night what happens in kitchens.
func (k *kitchen) disturb(s []scene) {
	for range k.r.IntN(8) {
		i, _ := k.span(0, 0)
		s[i].mm = 20 + 200*k.r.Float64()
	}
	for range k.r.IntN(4) {
		from, to := k.span(0.5, 2)
		for i := from; i < to; i++ {
			s[i].mm = 15 + 80*k.r.Float64()
		}
	}
	if k.chance(0.3) {
		k.told = append(k.told, "lid")
		k.cover(s, 20+30*k.r.Float64(), 5, 60)
	}
	if k.chance(0.3) {
		k.told = append(k.told, "away")
		k.shiftFrom(s, k.cover(s, k.floorMM+4, 1, 20), 0.3*k.r.NormFloat64()) // it comes back nearly to its place
	}
	if k.chance(0.3) {
		k.told = append(k.told, "fog")
		k.fog(s)
	}
	if k.chance(0.3) {
		k.told = append(k.told, "blind")
		from, to := k.span(1, 30)
		for i := from; i < to; i++ {
			s[i].blind, s[i].hidden = true, true
		}
	}
	if k.chance(0.3) {
		k.told = append(k.told, "lamp")
		from, to := k.span(10, 90)
		for i := from; i < to; i++ {
			s[i].ambient = 8
		}
	}
	if k.chance(0.2) {
		k.told = append(k.told, "power cut")
		from, to := k.span(5, 90)
		for i := from; i < to; i++ {
			s[i].off, s[i].hidden = true, true
		}
	}
	if k.chance(0.5) {
		k.told = append(k.told, "bump")
		k.shift(s, (1.5+6.5*k.r.Float64())*k.sign())
	}
}

func (k *kitchen) sign() float64 {
	if k.chance(0.5) {
		return -1
	}
	return 1
}

// cover puts something still in the way, and returns the tick at which it is taken away.
func (k *kitchen) cover(s []scene, mm, least, most float64) int {
	from, to := k.span(least, most)
	for i := from; i < to; i++ {
		s[i].mm, s[i].reflect, s[i].hidden = mm, 0.6, true
	}
	return to
}

// shift bumps ranger or jar for good, at some moment after the first half hour at which the dough is in sight: a shift that
// nobody sees cannot be told from a rise.
func (k *kitchen) shift(s []scene, mm float64) {
	for range 50 {
		from, _ := k.span(0, 0)
		if from >= 60 && !s[from-1].hidden && !s[from].hidden {
			k.shiftFrom(s, from, mm)
			return
		}
	}
}

func (k *kitchen) shiftFrom(s []scene, from int, mm float64) {
	for i := from; i < len(s); i++ {
		s[i].mm += mm
	}
}

// fog comes over the window and clears.
func (k *kitchen) fog(s []scene) {
	from, to := k.span(15, 60)
	most := 5 + 20*k.r.Float64()
	for i := from; i < to; i++ {
		s[i].window, s[i].hidden = most*float64(i-from)/float64(to-from), true
	}
}

// read lets a ranger look at the scenes: 20 ranges in whole mm each, as a chip that holds its light at a level by switching
// receivers off sees them.
func (k *kitchen) read(s []scene) {
	boot, begin := uint32(1), 0
	for i, v := range s {
		if v.off {
			boot, begin = 2, i+1
			continue
		}
		at := time.Duration(i-begin) * 30 * time.Second
		if boot == 1 {
			at = time.Duration(i) * 30 * time.Second
		}
		r := Reading{Stamp: Stamp{Boot: boot, At: at}, Time: nightStart.Add(time.Duration(i) * 30 * time.Second), JarC: Known(k.night.SampleC[i])}
		r.Burst = k.burst(v)
		if r.Valid == 0 {
			r.Fault = FaultView
		}
		k.readings = append(k.readings, r)
	}
}

func (k *kitchen) burst(v scene) Burst {
	if v.blind {
		return Burst{Of: 20}
	}
	near := max(v.mm, 10)
	each, fog := 0.6*v.reflect*math.Pow(100/near, 2), v.window/256
	spads := min(256, max(4, 10/(each+fog)))
	back, signal := each*spads, (each+fog)*spads
	sigma := math.Sqrt((signal+v.ambient/256*spads)/0.1) / back // about 1 mm in 100 ms of light
	var sum, sum2 float64
	for range 20 {
		d := math.Round(back/signal*v.mm + sigma*k.r.NormFloat64())
		sum, sum2 = sum+d, sum2+d*d
	}
	mean := sum / 20
	return Burst{
		RangeMM: Known(math.Round(mean*100) / 100), SpreadMM: Known(math.Sqrt(max(0, sum2-sum*mean) / 19)), Valid: 20, Of: 20,
		SignalMcps: Known(signal * (1 + 0.01*k.r.NormFloat64())), SigmaMM: Known(sigma * (1 + 0.01*k.r.NormFloat64())),
		AmbientMcps: Known(v.ambient / 256 * spads),
	}
}

// kase is the night as a run to ×2.
func (k *kitchen) kase() Case {
	return Case{
		Run: Run{Number: 1, Kind: RunDough, Target: 2, Flour: "wheat", Started: Moment{Stamp: Stamp{Boot: 1}, Wall: nightStart}},
		Jar: k.jar, Readings: k.readings,
	}
}
