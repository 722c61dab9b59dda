package rise_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// risingNow is a simulated dough at 23 °C after some hours, with a forecast that knows when it will be ready if
// nothing changes.
func risingNow(p dough.Params, hours, target float64) (rise.Rising, float64) {
	n := dough.Simulate(p, dough.Steady(23), dough.Span{Hours: 40, Every: time.Minute})
	at, _ := n.TimeTo(target)
	moment := func(h float64) time.Time { return evening.Add(time.Duration(h * float64(time.Hour))) }
	rest := at - hours
	return rise.Rising{
		Now: moment(hours), Run: runOf(p, target), Multiple: n.Multiple[int(hours*60)], TempC: 23, TauH: p.SampleH,
		Forecast: rise.Forecast{P10: moment(hours + 0.9*rest), P50: moment(at), P90: moment(hours + 1.1*rest)},
	}, at
}

// A dough that is moved to the temperature told is ready at the wanted hour, in a simulation whose yeast has another law of
// temperature.
func TestMovedDoughIsReadyWhenWanted(t *testing.T) {
	for _, m := range dough.Mechanisms {
		rng := rand.New(rand.NewPCG(9, 9))
		for _, share := range []float64{-0.12, 0.25} {
			p := dough.Draw(rng, dough.Options{Mechanism: m, InoculationPct: 12})
			p.StartC = 23
			r, at := risingNow(p, 4, 1.7)
			delay := share * (at - 4)
			r.Ready = evening.Add(time.Duration((at + delay) * float64(time.Hour)))
			plan, err := rise.Replan(r)
			require.NoError(t, err)
			require.True(t, plan.Met, plan.Why)
			c := plan.Choices[0]
			require.Contains(t, []string{"warmer", "cooler"}, c.What)
			assert.WithinDuration(t, r.Ready, c.P50, 5*time.Minute)
			air, _ := c.AirC.Get()
			n := dough.Simulate(p, dough.Steady(23).Then(4, dough.Steady(air)), dough.Span{Hours: 40, Every: time.Minute})
			got, ok := n.TimeTo(1.7)
			require.True(t, ok)
			// Temperature laws of cultures differ by some 1.2 % a kelvin.
			assert.InDelta(t, at+delay, got, 0.2*(at-4), "%s to %.1f °C", m, air)
			assert.Less(t, c.P10.Sub(evening).Hours(), got)
			assert.Greater(t, c.P90.Sub(evening).Hours(), got)
		}
	}
}

func rising() rise.Rising {
	r, _ := risingNow(dough.Default(), 5, 1.8)
	return r
}

func TestLateWishIsChilled(t *testing.T) {
	r := rising()
	r.Ready = r.Forecast.P50.Add(9 * time.Hour)
	plan, err := rise.Replan(r)
	require.NoError(t, err)
	require.True(t, plan.Met)
	var chill rise.Choice
	for _, c := range plan.Choices {
		if c.What == "retard" {
			chill = c
		}
	}
	require.NotZero(t, chill)
	assert.True(t, chill.ChillAt.After(r.Now))
	assert.True(t, chill.ChillAt.Before(r.Forecast.P50))
	assert.Greater(t, chill.ChillMultiple.Or(0), r.Multiple)
	assert.Less(t, chill.ChillMultiple.Or(9), r.Run.Target)
	assert.Contains(t, chill.Text, "keeps until")
}

func TestSoonWishIsTakenEarly(t *testing.T) {
	r := rising()
	r.Ready = r.Now.Add(40 * time.Minute)
	plan, err := rise.Replan(r)
	require.NoError(t, err)
	assert.False(t, plan.Met)
	assert.Contains(t, plan.Why, "even at 30 °C it is ready about")
	assert.Equal(t, "early", plan.Choices[0].What)
	assert.Contains(t, plan.Choices[0].Text, "take it at")
}

func TestWishNearTheForecastLeavesItAlone(t *testing.T) {
	r := rising()
	r.Ready = r.Forecast.P50.Add(5 * time.Minute)
	plan, err := rise.Replan(r)
	require.NoError(t, err)
	require.Len(t, plan.Choices, 1)
	assert.Equal(t, "as it stands", plan.Choices[0].What)
	assert.WithinDuration(t, r.Forecast.P50, plan.Choices[0].P50, time.Minute)
}

func TestDoughsThatCannotBeReplanned(t *testing.T) {
	for want, spoil := range map[string]func(*rise.Rising){
		"is in the past":       func(r *rise.Rising) { r.Ready = r.Now },
		"no forecast":          func(r *rise.Rising) { r.Forecast = rise.Forecast{Reason: "falling from its peak"} },
		"ask again":            func(r *rise.Rising) { r.Forecast = rise.Forecast{} },
		"at its target":        func(r *rise.Rising) { r.Multiple = 2 },
		"nothing grows at 2 °": func(r *rise.Rising) { r.TempC = 2 },
		"room of 99 °C":        func(r *rise.Rising) { r.Room = rise.SteadyRoom(99) },
	} {
		r := rising()
		r.Ready = r.Now.Add(6 * time.Hour)
		spoil(&r)
		_, err := rise.Replan(r)
		assert.ErrorContains(t, err, want)
	}
}
