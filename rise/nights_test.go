package rise

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
)

// verdicts counts what many nights came to.
type verdicts struct {
	sync.Mutex
	nights, doubled    int
	covered, looked    int
	early, twice, late []string
	missed             []string
	delays             []float64 // minutes from the true doubling to its recognition
}

// judgeNight watches one night and compares it with the truth.
func (v *verdicts) judgeNight(t *testing.T, seed uint64) {
	k := newKitchen(seed)
	s := k.scenes()
	k.disturb(s)
	k.read(s)
	truth := k.truth()
	look := k.r.Float64()
	es := foldLevels(t, k.kase())
	tick := func(e Estimate) int { return int(e.Time.Sub(nightStart).Seconds()/30 + 0.5) }
	ready := rung(es, AlertReady)
	crossed := slices.IndexFunc(truth, func(m float64) bool { return m >= 2 })
	v.Lock()
	defer v.Unlock()
	v.nights++
	name := fmt.Sprintf("seed %d %v", seed, k.told)
	if e := es[int(look*float64(len(es)))]; e.Multiple.IsKnown() {
		v.looked++
		if math.Abs(e.Multiple.Or(0)-truth[tick(e)]) <= 1.96*e.MultipleU.Or(0) {
			v.covered++
		} else {
			v.missed = append(v.missed, fmt.Sprintf("%s at %.2f h: ×%s ± %s, true ×%.3f", name, float64(tick(e))/120, e.Multiple.Text(3), e.MultipleU.Text(3), truth[tick(e)]))
		}
	}
	for i, c := range ready {
		at := int(c.Since.Sub(nightStart).Seconds()/30 + 0.5)
		if truth[at] < 0.95*2 {
			v.early = append(v.early, fmt.Sprintf("%s: at %.2f h true ×%.3f", name, float64(at)/120, truth[at]))
		}
		if i > 0 {
			v.twice = append(v.twice, fmt.Sprintf("%s: again at %.2f h", name, float64(at)/120))
		}
	}
	// What happens out of sight is recognised when the dough comes into sight again.
	seen := max(crossed, 0)
	for seen < len(s) && s[seen].hidden {
		seen++
	}
	if crossed < 0 || seen > len(truth)-120 {
		return
	}
	v.doubled++
	at := len(truth) - 1
	if len(ready) > 0 {
		at = int(ready[0].Since.Sub(nightStart).Seconds()/30 + 0.5)
	}
	delay := float64(at-crossed) / 2
	if at > crossed {
		delay = max(0, float64(at-seen)/2)
	}
	v.delays = append(v.delays, delay)
	if len(ready) == 0 && slices.Max(truth) <= 2.06 { // it hardly got there
		return
	}
	if math.Abs(delay) > 10 && math.Abs(truth[at]-2) > 0.06 {
		v.late = append(v.late, fmt.Sprintf("%s: %.1f min, true ×%.3f, %d rings", name, delay, truth[at], len(ready)))
	}
}

// judgeNights watches nights from seed 0 on.
func judgeNights(t *testing.T, n int) *verdicts {
	t.Helper()
	v := &verdicts{}
	var wg sync.WaitGroup
	for part := range 2 {
		wg.Go(func() {
			for seed := part; seed < n; seed += 2 {
				v.judgeNight(t, uint64(seed))
			}
		})
	}
	wg.Wait()
	slices.Sort(v.delays)
	slices.Sort(v.early)
	slices.Sort(v.late)
	t.Logf("%d nights, %d doubled; median delay %.1f min, 5 %% %.1f, 95 %% %.1f; %d of %d within 10 min or 0.06; covered %d of %d; early %d, twice %d",
		v.nights, v.doubled, v.quantile(0.5), v.quantile(0.05), v.quantile(0.95), v.doubled-len(v.late), v.doubled, v.covered, v.looked, len(v.early), len(v.twice))
	for _, list := range [][]string{v.early, v.twice, v.late, v.missed} {
		for _, s := range list {
			t.Log(s)
		}
	}
	return v
}

func (v *verdicts) quantile(p float64) float64 {
	if len(v.delays) == 0 {
		return math.NaN()
	}
	return v.delays[int(p*float64(len(v.delays)-1)+0.5)]
}

// TestNightsWithEverythingThatHappens is the short form of the thousand nights behind the build tag slow.
func TestNightsWithEverythingThatHappens(t *testing.T) {
	t.Parallel()
	v := judgeNights(t, 100)
	assert.Empty(t, v.early)
	assert.Empty(t, v.twice)
	assert.Less(t, math.Abs(v.quantile(0.5)), 3.0)
	assert.Less(t, len(v.late), v.doubled/10)
}
