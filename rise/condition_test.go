package rise

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// drawnCase is a run whose level follows a function of the hours, seen every 30 s with usual noise.
func drawnCase(hours float64, target float64, level func(h float64) float64) Case {
	r := rand.New(rand.NewPCG(21, 4))
	n := usualNight(1)
	c := Case{Run: Run{Kind: RunDough, Target: target, Started: Moment{Stamp: Stamp{Boot: 1}, Wall: nightStart}}, Jar: n.jar()}
	for i := range int(hours * 120) {
		at := time.Duration(i) * 30 * time.Second
		c.Readings = append(c.Readings, Reading{
			Stamp: Stamp{Boot: 1, At: at}, Time: nightStart.Add(at), JarC: Known(24),
			Burst: n.burst(r, n.floorMM-level(at.Hours())),
		})
	}
	return c
}

// rung lists the conditions of a kind in the order in which they began.
func rung(es []Estimate, kind AlertKind) []Condition {
	var out []Condition
	for _, e := range es {
		for _, h := range e.Holds {
			if h.Kind == kind && (len(out) == 0 || out[len(out)-1].Episode != h.Episode) {
				out = append(out, h)
			}
		}
	}
	return out
}

// ramp goes from 1 at from to height at to, in multiples of 30 mm.
func ramp(h, from, to, height float64) float64 {
	x := min(max((h-from)/(to-from), 0), 1)
	return 30 * (1 + (height-1)*x)
}

func TestReadyRingsOnceWhenTheTargetIsReached(t *testing.T) {
	t.Parallel()
	es := foldLevels(t, drawnCase(6, 2, func(h float64) float64 { return ramp(h, 1, 5, 2.2) }))
	ready := rung(es, AlertReady)
	require.Len(t, ready, 1)
	truth := nightStart.Add(hoursOf(1 + 4*1.0/1.2))
	assert.WithinDuration(t, truth, ready[0].Since, 4*time.Minute)
	assert.Contains(t, ready[0].Text, "×2.00 is reached")
	assert.Zero(t, ready[0].UnseenFrom)
}

func TestTremblingAboutTheTargetRingsOnceAndALaterCrossingAgain(t *testing.T) {
	t.Parallel()
	c := drawnCase(9, 2, func(h float64) float64 {
		switch {
		case h < 5:
			return ramp(h, 1, 4, 2) + math.Sin(h*2*math.Pi*6)*ramp(h, 3.9, 4, 2)/60
		case h < 5.5:
			return 60 - 60*(h-5)
		}
		return ramp(h, 5, 8, 2.3)
	})
	ready := rung(foldLevels(t, c), AlertReady)
	require.Len(t, ready, 2)
	assert.Equal(t, []int{1, 2}, []int{ready[0].Episode, ready[1].Episode})
	assert.Less(t, ready[0].Since.Sub(nightStart).Hours(), 4.3)
	assert.Greater(t, ready[1].Since.Sub(nightStart).Hours(), 6.5)
}

func TestPastAndFalling(t *testing.T) {
	t.Parallel()
	c := drawnCase(10, 1.8, func(h float64) float64 { return ramp(h, 1, 5, 2.2) - 4*max(0, h-6.5) })
	es := foldLevels(t, c)
	past, falling := rung(es, AlertPast), rung(es, AlertFalling)
	require.Len(t, past, 1)
	require.Len(t, falling, 1)
	// Past is 15 % of the rise beyond the target: ×1.92.
	assert.InDelta(t, 1+4*0.92/1.2, past[0].Since.Sub(nightStart).Hours(), 0.15)
	// A fall of 0.05 of the base volume is 1.5 mm, 22 minutes; it must have held for ten.
	assert.InDelta(t, 6.5+22.5/60+10.0/60, falling[0].Since.Sub(nightStart).Hours(), 0.2)
	assert.Contains(t, falling[0].Text, "×2.2")
}

func TestThePhasesComeInTheirOrder(t *testing.T) {
	t.Parallel()
	c := drawnCase(11, 1.8, func(h float64) float64 {
		return ramp(h, 1.5, 5, 2.2) + 2*math.Exp(-h/0.2) - 4*max(0, h-7)
	})
	var seen []Phase
	for _, e := range foldLevels(t, c) {
		if len(seen) == 0 || seen[len(seen)-1] != e.Phase {
			seen = append(seen, e.Phase)
		}
	}
	assert.Equal(t, []Phase{PhaseSettling, PhaseWaiting, PhaseRising, PhaseReady, PhasePeaked, PhaseFalling}, seen)
}

func TestAnOutageOverTheTargetRingsAtOnceAndSaysSo(t *testing.T) {
	t.Parallel()
	c := drawnCase(8, 2, func(h float64) float64 { return ramp(h, 1, 5, 2.2) })
	from, to := 3.5*120, 6.0*120
	after := c.Readings[int(to):]
	c.Readings = c.Readings[:int(from)]
	for i := range after { // another boot, whose clock begins anew
		after[i].Stamp = Stamp{Boot: 2, At: time.Duration(i) * 30 * time.Second}
	}
	c.Readings = append(c.Readings, after...)
	ready := rung(foldLevels(t, c), AlertReady)
	require.Len(t, ready, 1)
	assert.WithinDuration(t, nightStart.Add(6*time.Hour), ready[0].Since, 3*time.Minute)
	assert.WithinDuration(t, nightStart.Add(3*time.Hour+30*time.Minute), ready[0].UnseenFrom, time.Minute)
	assert.WithinDuration(t, nightStart.Add(6*time.Hour), ready[0].UnseenTo, time.Minute)
	assert.Contains(t, ready[0].Text, "while nothing was read")
}

func TestAnOutageOfUnknownLengthRingsAtOnceAndNamesNoTimes(t *testing.T) {
	t.Parallel()
	c := drawnCase(8, 2, func(h float64) float64 { return ramp(h, 1, 5, 2.2) })
	from, to := 3.5*120, 6.0*120
	after := c.Readings[int(to):]
	c.Readings = c.Readings[:int(from)]
	for i := range after { // another boot, whose clock stands an hour behind the last reading and is not set
		after[i].Stamp = Stamp{Boot: 2, At: time.Duration(i) * 30 * time.Second}
		after[i].Time = nightStart.Add(2*time.Hour + 30*time.Minute + after[i].At)
		after[i].Quality = TimeEstimated
	}
	c.Readings = append(c.Readings, after...)
	ready := rung(foldLevels(t, c), AlertReady)
	require.Len(t, ready, 1)
	assert.WithinDuration(t, nightStart.Add(2*time.Hour+30*time.Minute), ready[0].Since, 4*time.Minute)
	assert.True(t, ready[0].Unseen)
	assert.Zero(t, ready[0].UnseenFrom)
	assert.Zero(t, ready[0].UnseenTo)
}

func TestColdAndWarmAreToldOnce(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		kind AlertKind
		degC float64
	}{{AlertCold, 9}, {AlertWarm, 37}} {
		c := drawnCase(6, 2, func(h float64) float64 { return 30 })
		for i := range c.Readings {
			if h := float64(i) / 120; h > 1 && h < 3 || h > 3.2 {
				c.Readings[i].JarC = Known(tt.degC)
			}
			if i%40 == 0 {
				c.Readings[i].JarC = Known(85) // the power-on value of a common probe
			}
		}
		told := rung(foldLevels(t, c), tt.kind)
		require.NotEmpty(t, told, tt.kind)
		assert.InDelta(t, 1.6, told[0].Since.Sub(nightStart).Hours(), 0.15, tt.kind)
		assert.Len(t, told, 1, tt.kind)
	}
}

func hoursOf(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
