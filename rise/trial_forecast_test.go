package rise

import (
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
)

// outcome is one forecast against what came, min.
type outcome struct {
	starter       starterID
	off           float64 // of the median; +Inf where there was none
	width         float64
	covered, told bool
	rivals        []float64
}

// starterID is a starter among all mechanisms.
type starterID struct {
	mechanism string
	number    int
}

// judgeTrials forecasts every night of a mechanism at every share of its rise, with up to so many past runs of its starter.
func judgeTrials(nights []*trialNight, past int, withRivals bool) [len(trialShares)][]outcome {
	summaries := summariesOf(nights)
	all := make([][len(trialShares)]outcome, len(nights))
	inParallel(len(nights), func(f *Forecaster, i int) {
		t := nights[i]
		before := earlier(summaries, i, past)
		for j, at := range t.mark {
			if t.reached && at >= 0 {
				all[i][j] = t.outcome(f, at, before, withRivals)
			}
		}
	})
	var out [len(trialShares)][]outcome
	for i, t := range nights {
		for j, at := range t.mark {
			if t.reached && at >= 0 {
				out[j] = append(out[j], all[i][j])
			}
		}
	}
	return out
}

func summariesOf(nights []*trialNight) []Summary {
	out := make([]Summary, len(nights))
	inParallel(len(nights), func(f *Forecaster, i int) { out[i] = nights[i].summary(f) })
	return out
}

// earlier are up to so many of the other nights of night i's starter: they are all alike, so any can be the earlier ones.
func earlier(summaries []Summary, i, most int) (out []Summary) {
	for k := i / nightsEach * nightsEach; len(out) < most && k < len(summaries); k++ {
		if k != i {
			out = append(out, summaries[k])
		}
	}
	return out
}

func inParallel(n int, do func(f *Forecaster, i int)) {
	var wg sync.WaitGroup
	for worker := range 2 {
		wg.Go(func() {
			f := new(Forecaster)
			for i := worker; i < n; i += 2 {
				do(f, i)
			}
		})
	}
	wg.Wait()
}

func (t *trialNight) outcome(f *Forecaster, at int, past []Summary, withRivals bool) outcome {
	p := t.at(at)
	p.Past = past
	got := f.Predict(p)
	o := outcome{starter: starterID{t.mechanism, t.starter}, off: math.Inf(1)}
	off := func(h float64) float64 {
		if math.IsNaN(h) {
			return math.Inf(1)
		}
		return 60 * math.Abs(h-t.truth)
	}
	if p50, ok := got.P50.Get(); ok {
		o.told = true
		o.off = off(p50)
		p10, p90 := got.P10.Or(0), got.P90.Or(0)
		o.width, o.covered = 60*(p90-p10), p10 <= t.truth && t.truth <= p90
	}
	if withRivals {
		for _, r := range rivals {
			o.rivals = append(o.rivals, off(r.tell(t, at, past)))
		}
		o.rivals = append(o.rivals, off(oracle(t, at, &f.run)))
	}
	return o
}

// medianFigure is the median of a figure of the outcomes.
func medianFigure(os []outcome, figure func(outcome) float64) float64 {
	v := make([]float64, len(os))
	for i, o := range os {
		v[i] = figure(o)
	}
	slices.Sort(v)
	if len(v) == 0 {
		return math.NaN()
	}
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

func offOf(o outcome) float64   { return o.off }
func widthOf(o outcome) float64 { return o.width }

// coverage is the share of the intervals given that held the truth.
func coverage(os []outcome) float64 {
	told, covered := 0.0, 0.0
	for _, o := range os {
		if o.told {
			told++
			if o.covered {
				covered++
			}
		}
	}
	return covered / told
}

// The shares of the rise at which forecasts are held to something, as indices of trialShares.
var judged = []int{1, 2, 3}

// TestForecast_HeldOutNights is the short form of the benchmark: a few starters of each mechanism.
func TestForecast_HeldOutNights(t *testing.T) {
	t.Parallel()
	const starters = 6
	limits := map[int][len(trialShares)]float64{0: {0, 40, 20, 8, 0}, 5: {0, 22, 10, 5, 0}} // min
	for past, limit := range limits {
		var all [len(trialShares)][]outcome
		for _, m := range heldOutPart.mechanisms {
			for j, os := range judgeTrials(heldOutPart.nights(m, starters), past, false) {
				all[j] = append(all[j], os...)
			}
		}
		last := math.Inf(1)
		for _, j := range judged {
			off, width := medianFigure(all[j], offOf), medianFigure(all[j], widthOf)
			assert.LessOrEqual(t, off, limit[j], "median error, %d past runs, at %v of the rise", past, trialShares[j])
			assert.InDelta(t, 0.8, coverage(all[j]), 0.1, "coverage, %d past runs, at %v", past, trialShares[j])
			assert.Less(t, width, last, "the interval narrows")
			last = width
		}
	}
}
