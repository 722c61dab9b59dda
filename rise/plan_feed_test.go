package rise_test

import (
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func feedAsk(hours float64) rise.FeedAsk {
	return rise.FeedAsk{Now: evening, Ripe: evening.Add(time.Duration(hours * float64(time.Hour))), Room: rise.SteadyRoom(25), Peak: rise.Known(2.2)}
}

// 1:1:1 is near its peak after 4-6 h and 1:5:5 after 8-12 h at 24-26 °C: common practice, no source.
func TestFeedingsForTheHour(t *testing.T) {
	soon, err := rise.PlanFeed(feedAsk(5.5))
	require.NoError(t, err)
	assert.Less(t, soon.Choices[0].Parts, 2.0)
	late, err := rise.PlanFeed(feedAsk(9))
	require.NoError(t, err)
	assert.InDelta(t, 5.5, late.Choices[0].Parts, 2)
	assert.Contains(t, late.Choices[0].Text, "near its peak about Tue 05:00")
	for _, c := range late.Choices {
		assert.WithinDuration(t, evening.Add(9*time.Hour), c.P50, 3*time.Minute)
	}
	later := late.Choices[1]
	assert.Equal(t, 1.0, later.Parts)
	assert.InDelta(t, 4, later.At.Sub(evening).Hours(), 1.2)
}

// A simulated starter of known vigour, fed as told, is near its peak when wanted.
func TestFedAsToldIsRipeInTime(t *testing.T) {
	for _, m := range dough.Mechanisms {
		k := dough.Default().Culture
		simulate := func(parts float64) (rise.FeedingRun, dough.Night) {
			p := dough.Feeding(k, 20, 20*parts, 20*parts)
			p.Mechanism, p.StartC = m, 23
			n := dough.Simulate(p, dough.Steady(23), dough.Span{Hours: 30, Every: time.Minute})
			c := rise.Curve{Hours: n.Hours, Multiple: n.Multiple, TempC: []rise.Num{rise.Known(23)}}
			return rise.NewFeedingRun(rise.Starter{Name: "x", HydrationPct: 100}, 1, evening, rise.Feeding{SeedG: 20, FlourG: 20 * parts, WaterG: 20 * parts}, c.Milestones()), n
		}
		past, _ := simulate(2)
		a := feedAsk(10.5)
		a.Room, a.Speed, a.Peak = rise.SteadyRoom(23), rise.SpeedOf(nil, []rise.FeedingRun{past}), past.Milestones.TopMultiple
		plan, err := rise.PlanFeed(a)
		require.NoError(t, err)
		_, n := simulate(plan.Choices[0].Parts)
		peak, _ := n.Peak()
		got, ok := n.TimeTo(1 + rise.NearShare*(peak-1))
		require.True(t, ok)
		assert.InDelta(t, 10.5, got, 1.0, m)
	}
}

func TestFeedWishesThatCannotBeMet(t *testing.T) {
	p, err := rise.PlanFeed(feedAsk(2))
	require.NoError(t, err)
	assert.False(t, p.Met)
	assert.Contains(t, p.Why, "fed 1:1 now")
	p, err = rise.PlanFeed(feedAsk(30))
	require.NoError(t, err)
	assert.True(t, p.Met)
	assert.Greater(t, p.Choices[0].At.Sub(evening).Hours(), 15.0, "fed later")
	for want, spoil := range map[string]func(*rise.FeedAsk){
		"is in the past":      func(a *rise.FeedAsk) { a.Ripe = evening },
		"shows no rise":       func(a *rise.FeedAsk) { a.HydrationPct = rise.Known(250) },
		"peak of ×0.9":        func(a *rise.FeedAsk) { a.Peak = rise.Known(0.9) },
		"mix of 80 °C":        func(a *rise.FeedAsk) { a.MixC = rise.Known(80) },
		"time constant of -1": func(a *rise.FeedAsk) { a.TauH = -1 },
		"was 100 % meant":     func(a *rise.FeedAsk) { a.HydrationPct = rise.Known(1) },
	} {
		a := feedAsk(8)
		spoil(&a)
		_, err := rise.PlanFeed(a)
		assert.ErrorContains(t, err, want)
	}
}
