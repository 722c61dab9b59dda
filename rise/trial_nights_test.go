package rise

import (
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"nightjar/sensor/sim/dough"
)

// trialNight is one night of the benchmark: what a forecast sees of it, and what came of it.
type trialNight struct {
	starter            int
	mechanism, kitchen string
	// progress is the whole night; its slices are cut to what is known at a moment.
	progress Progress
	// truth is when the noise-free level reaches the target, h; reached is false if it never does.
	truth   float64
	reached bool
	// peak is the highest noise-free multiple before it falls, peakHours when.
	peak, peakHours float64
	// mark is the reading at which the noise-free level has come a share of the way to the target; −1 is never.
	mark [len(trialShares)]int
	// params and roomC are the simulated dough and its kitchen; zero for published curves.
	params dough.Params
	room   dough.Room
}

// trialShares are the shares of the rise at which forecasts are judged.
var trialShares = [...]float64{0.05, 0.25, 0.5, 0.75, 0.9}

// Two more mechanisms stand beside the simulator's, so that nothing is fitted to one: publishedCurve is no mechanism at
// all, but any of Richards' curves from the published ranges, in thermal time; plainBalance is the simplest gas balance,
// of yeast that grows or that hardly does, with gas that dissolves before there is any rise or along with it.
const (
	publishedCurve dough.Mechanism = "curve"
	plainBalance   dough.Mechanism = "balance"
)

const (
	nightsEach = 6
	trialEvery = time.Minute
	trialHours = 24.0
)

// part is a part of the nights, by starter: no starter is in two of them.
type part struct {
	name       string
	first      int
	starters   int // of each mechanism
	mechanisms []dough.Mechanism
}

// heldOutPart is what every figure told is from. Its Film mechanism is held out altogether: nothing was tuned or calibrated
// on it.
var heldOutPart = part{"held-out", 2000, 60, []dough.Mechanism{dough.Monod, dough.Film, publishedCurve, plainBalance}}

// nights makes the nights of a mechanism of the part, at most so many starters.
func (p part) nights(m dough.Mechanism, most int) []*trialNight {
	n := min(p.starters, most) * nightsEach
	out := make([]*trialNight, n)
	var wg sync.WaitGroup
	for worker := range 2 {
		wg.Go(func() {
			for i := worker; i < n; i += 2 {
				out[i] = newTrialNight(m, p.first+i/nightsEach, i%nightsEach)
			}
		})
	}
	wg.Wait()
	return out
}

// newTrialNight makes night k of a starter.
func newTrialNight(m dough.Mechanism, starter, k int) *trialNight {
	ofStarter := rand.New(rand.NewPCG(uint64(starter), 0xc0))
	rng := rand.New(rand.NewPCG(uint64(starter), 100+uint64(k)))
	t := &trialNight{starter: starter, mechanism: string(m), kitchen: dough.RoomKinds[(starter+k)%len(dough.RoomKinds)]}
	t.room = dough.DrawRoom(rng, t.kitchen)
	t.progress.Target = []float64{1.5, 1.75, 2, 2, 2, 2.2}[(7*starter+k)%6]
	var s seen
	switch m {
	case publishedCurve:
		s = drawCurve(ofStarter, rng, t)
	case plainBalance:
		s = drawBalance(ofStarter, rng, t)
	default:
		culture := dough.DrawCulture(ofStarter)
		t.params = dough.Draw(rng, dough.Options{Mechanism: m, Culture: &culture})
		t.params.Flour.DomePct = 0 // a ranger's cone takes in the whole surface
		t.progress.InoculationPct = Known(t.params.InoculationPct)
		n := dough.Simulate(t.params, t.room, dough.Span{Hours: trialHours, Every: trialEvery})
		s = seen{n.Hours, n.LevelMM, n.SurfaceMM, n.SampleC}
	}
	t.observe(s, rng)
	return t
}

// seen is a night without noise: the mean level, and the surface with its blisters, mm.
type seen struct{ hours, level, surface, tempC []float64 }

// observe adds a ranger's noise (1 mm a single range, 40 of them a minute), its drift (0.3 mm in 12 h, at random) and
// a probe's noise and steps of 1/16 °C, counts from the lowest level of a quarter of an hour, and notes what truly came.
func (t *trialNight) observe(s seen, rng *rand.Rand) {
	const settled, span = 4.0, 15
	noise, wander := 1/math.Sqrt(40), 0.3*math.Sqrt(trialEvery.Hours()/12)
	drift, sum := 0.0, 0.0
	measured := make([]float64, len(s.hours))
	base, from, trueBase := math.Inf(1), 0, math.Inf(1)
	for i := range s.hours {
		drift += wander * rng.NormFloat64()
		measured[i] = s.surface[i] + drift + noise*rng.NormFloat64()
		if sum += measured[i]; i >= span {
			sum -= measured[i-span]
		}
		if s.hours[i] < settled {
			trueBase = min(trueBase, s.level[i])
			if i >= span && sum/span < base {
				base, from = sum/span, i-span/2
			}
		}
	}
	p := &t.progress
	p.NoiseSD = noise / base
	for i := from; i < len(s.hours); i++ {
		p.Hours, p.Multiple = append(p.Hours, s.hours[i]), append(p.Multiple, measured[i]/base)
		p.TempC = append(p.TempC, Known(math.Round(16*(s.tempC[i]+0.05*rng.NormFloat64()))/16))
	}
	t.findTruth(s, from, trueBase)
}

func (t *trialNight) findTruth(s seen, from int, base float64) {
	for j := range t.mark {
		t.mark[j] = -1
	}
	for i := from; i < len(s.hours); i++ {
		m := s.level[i] / base
		if m > t.peak {
			t.peak, t.peakHours = m, s.hours[i]
		}
		for j, share := range trialShares {
			if t.mark[j] < 0 && m >= 1+share*(t.progress.Target-1) {
				t.mark[j] = i - from
			}
		}
		if !t.reached && m >= t.progress.Target {
			t.reached, t.truth = true, s.hours[i]
		}
	}
}

// at is the night as known at reading i.
func (t *trialNight) at(i int) Progress {
	p := t.progress
	p.Hours, p.Multiple, p.TempC = p.Hours[:i+1], p.Multiple[:i+1], p.TempC[:i+1]
	return p
}

// summary is what the night teaches later ones: it is watched until an hour past its target, or to its end.
func (t *trialNight) summary(f *Forecaster) Summary {
	p := t.progress
	end := len(p.Hours) - 1
	for i, h := range p.Hours {
		if t.reached && h > t.truth+1 {
			end = i
			break
		}
	}
	s := Summary{Run: Run{Kind: RunDough, InoculationPct: p.InoculationPct}, Growth: f.Predict(t.at(end)).Growth}
	if t.reached {
		s.TargetHours = Known(t.truth)
	}
	return s
}
