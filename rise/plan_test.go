package rise_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plannedNights plans some nights, each after five others of its starter, and returns the sizes of the errors of the median
// in minutes, in rising order, and the share of nights that the 80 % interval held.
func plannedNights(m dough.Mechanism, nights int) (offMin []float64, covered float64) {
	rng := rand.New(rand.NewPCG(71, 2))
	for len(offMin) < nights {
		off, within, ok := planned(rng, m)
		if !ok {
			continue
		}
		offMin = append(offMin, 60*math.Abs(off))
		if within {
			covered++
		}
	}
	slices.Sort(offMin)
	return offMin, covered / float64(nights)
}

func TestPlanMeetsSimulatedNights(t *testing.T) {
	for _, m := range dough.Mechanisms {
		t.Run(string(m), func(t *testing.T) {
			t.Parallel()
			off, covered := plannedNights(m, 50)
			assert.Less(t, off[len(off)/2], 45.0, "median error, min")
			// 50 nights: two standard deviations of the share are 11 points.
			assert.InDelta(t, 0.8, covered, 0.11)
		})
	}
}

func ask() rise.Ask {
	return rise.Ask{Now: evening, Target: 1.8, InoculationPct: rise.Known(12), Room: rise.SteadyRoom(22), DoughC: rise.Known(24)}
}

// Common practice, no source: about 10 % prefermented flour at room temperature takes 10 to 14 h to double.
func TestPlanMixWithoutHistory(t *testing.T) {
	a := ask()
	a.Target, a.InoculationPct = 2, rise.Known(10)
	p, err := rise.PlanMix(a)
	require.NoError(t, err)
	assert.True(t, p.Met)
	assert.Contains(t, p.Basis, "published ranges")
	c := p.Choices[0]
	assert.InDelta(t, 11.5, c.P50.Sub(evening).Hours(), 2)
	assert.Greater(t, c.P90.Sub(c.P10).Hours(), 5.0, "nothing is known of the starter")
	assert.Contains(t, c.Text, "10 % prefermented flour")
}

func TestWarmerAndMoreStarterAreSooner(t *testing.T) {
	base, err := rise.PlanMix(ask())
	require.NoError(t, err)
	for name, change := range map[string]func(*rise.Ask){
		"warmer room":  func(a *rise.Ask) { a.Room = rise.SteadyRoom(25) },
		"warmer dough": func(a *rise.Ask) { a.DoughC = rise.Known(28) },
		"more starter": func(a *rise.Ask) { a.InoculationPct = rise.Known(20) },
		"lower target": func(a *rise.Ask) { a.Target = 1.5 },
		"less salt":    func(a *rise.Ask) { a.SaltPct = rise.Known(0.5) },
	} {
		a := ask()
		change(&a)
		p, err := rise.PlanMix(a)
		require.NoError(t, err)
		assert.True(t, p.Choices[0].P50.Before(base.Choices[0].P50), name)
	}
}

func TestPlanReadyHitsTheHour(t *testing.T) {
	a := ask()
	a.Ready = evening.Add(11 * time.Hour)
	p, err := rise.PlanReady(a)
	require.NoError(t, err)
	require.True(t, p.Met)
	for _, c := range p.Choices {
		if c.What == "retard" {
			continue
		}
		b := a
		b.InoculationPct, b.DoughC = rise.Known(c.InoculationPct), rise.Known(c.DoughC)
		if air, ok := c.AirC.Get(); ok {
			b.Room = rise.SteadyRoom(air)
		}
		check, err := rise.PlanMix(b)
		require.NoError(t, err)
		assert.WithinDuration(t, a.Ready, check.Choices[0].P50, 2*time.Minute, c.What)
	}
	assert.Equal(t, "starter", p.Choices[0].What)
}

func TestLongWishGetsARetard(t *testing.T) {
	a := ask()
	a.InoculationPct, a.Ready = rise.Known(15), evening.Add(22*time.Hour)
	p, err := rise.PlanReady(a)
	require.NoError(t, err)
	i := slices.IndexFunc(p.Choices, func(c rise.Choice) bool { return c.What == "retard" })
	require.GreaterOrEqual(t, i, 0)
	c := p.Choices[i]
	assert.Greater(t, c.ChillMultiple.Or(0), 1.1)
	assert.Less(t, c.ChillMultiple.Or(9), a.Target)
	assert.WithinDuration(t, c.ChillAt, c.P50, 2*time.Minute)
	assert.Contains(t, c.Text, "into the refrigerator")
}

func TestWishThatCannotBeMetSaysTheNearest(t *testing.T) {
	a := ask()
	a.Ready = evening.Add(90 * time.Minute)
	p, err := rise.PlanReady(a)
	require.NoError(t, err)
	assert.False(t, p.Met)
	assert.Contains(t, p.Why, "cannot be met: the nearest is about")
	require.Len(t, p.Choices, 1)
	assert.True(t, p.Choices[0].P50.After(a.Ready))
	assert.Equal(t, "warmer", p.Choices[0].What)
	a.Room = rise.SteadyRoom(3)
	a.Ready = time.Time{}
	p, err = rise.PlanMix(a)
	require.NoError(t, err)
	assert.False(t, p.Met)
	assert.Contains(t, p.Why, "more than 72 h")
}

func TestAsksThatCannotBe(t *testing.T) {
	for want, spoil := range map[string]func(*rise.Ask){
		"is in the past":              func(a *rise.Ask) { a.Ready = a.Now.Add(-time.Hour) },
		"before it is mixed":          func(a *rise.Ask) { a.Mix, a.Ready = a.Now.Add(5*time.Hour), a.Now.Add(2*time.Hour) },
		"target of 0.9":               func(a *rise.Ask) { a.Target = 0.9 },
		"inoculation of -3 %":         func(a *rise.Ask) { a.InoculationPct = rise.Known(-3) },
		"hydration of 700 %":          func(a *rise.Ask) { a.HydrationPct = rise.Known(700) },
		"dough temperature of 75":     func(a *rise.Ask) { a.DoughC = rise.Known(75) },
		"room of 70 °C":               func(a *rise.Ask) { a.Room = rise.SteadyRoom(70) },
		"temperature is not known":    func(a *rise.Ask) { a.Room = rise.Room{} },
		"refrigerator of 39 °C":       func(a *rise.Ask) { a.FridgeC = rise.Known(39) },
		"must be in the order of tim": func(a *rise.Ask) { a.Room = rise.Room{Points: []rise.RoomPoint{{At: evening, C: 20}, {C: 20}}} },
	} {
		a := ask()
		spoil(&a)
		_, err := rise.PlanMix(a)
		assert.ErrorContains(t, err, want)
	}
	_, err := rise.PlanReady(ask())
	assert.ErrorContains(t, err, "when is it to be ready?")
	a := ask()
	a.InoculationPct = rise.Known(0.2)
	assert.Contains(t, a.Hints()[0], "was 20 % meant?")
}

func TestSpeedIsLearnedFromPastDoughs(t *testing.T) {
	slow := func(n int) []rise.Summary {
		var s []rise.Summary
		run := rise.Run{Kind: rise.RunDough, Target: 2, InoculationPct: rise.Known(12)}
		from, to, ok := rise.UsualRange(run, 22)
		require.True(t, ok)
		for range n {
			s = append(s, rise.Summary{Run: run, TargetHours: rise.Known(1.3 * math.Sqrt(from*to)), MeanC: rise.Known(22)})
		}
		return s
	}
	one, five := rise.SpeedOf(slow(1), nil), rise.SpeedOf(slow(5), nil)
	assert.InDelta(t, 1/1.3, five.Ratio, 0.01)
	assert.Greater(t, one.U, five.U)
	assert.Contains(t, five.From, "5 past doughs")
	assert.InDelta(t, 22, five.MeanC, 1e-9)
	fed := rise.SpeedOf(nil, runsOf(1.2, 1.2, 1.2))
	assert.InDelta(t, 1.2, fed.Ratio, 1e-9)
	assert.Contains(t, fed.From, "last 3 feedings")
	assert.Less(t, fed.U, rise.UsualSpeed().U)
	assert.Equal(t, rise.UsualSpeed(), rise.SpeedOf([]rise.Summary{{}}, nil), "a run that tells nothing")
}

func TestRooms(t *testing.T) {
	r := rise.Room{Points: []rise.RoomPoint{{At: evening, C: 22}, {At: evening.Add(4 * time.Hour), C: 18}}}
	assert.Equal(t, 22.0, r.At(evening.Add(-time.Hour)))
	assert.Equal(t, 20.0, r.At(evening.Add(2*time.Hour)))
	assert.Equal(t, 18.0, r.At(evening.Add(9*time.Hour)))
	other := rise.Room{Points: []rise.RoomPoint{{At: evening.AddDate(0, 0, -1), C: 24}, {At: evening.AddDate(0, 0, -1).Add(4 * time.Hour), C: 20}}}
	mean, err := rise.RoomOfNights([]rise.Room{r, other}, evening.AddDate(0, 0, 3), 4)
	require.NoError(t, err)
	assert.InDelta(t, 21, mean.At(evening.AddDate(0, 0, 3).Add(2*time.Hour)), 1e-9)
	assert.Greater(t, mean.U, 0.7, "two nights 2 K apart")
	_, err = rise.RoomOfNights(nil, evening, 4)
	assert.ErrorContains(t, err, "give its temperature")
}

func TestNightRoomIsTheReadingsInQuarters(t *testing.T) {
	var rs []rise.Reading
	for i := range 120 { // two hours, a minute apart, 0.01 K a minute cooler
		r := rise.Reading{Time: evening.Add(time.Duration(i) * time.Minute), JarC: rise.Known(30), RoomC: rise.Known(22 - 0.01*float64(i))}
		if i == 50 {
			r.RoomC, r.JarC = rise.Num{}, rise.Num{}
		}
		if i == 51 {
			r.RoomC = rise.Known(85) // a probe's power-on value
		}
		rs = append(rs, r)
	}
	rs = append(rs, rise.Reading{JarC: rise.Known(20)})
	room := rise.NightRoom(rs)
	require.Len(t, room.Points, 8)
	require.NoError(t, room.Check())
	assert.InDelta(t, 22-0.6, room.At(evening.Add(time.Hour)), 0.02)
	only := rise.NightRoom([]rise.Reading{{Time: evening, JarC: rise.Known(21)}})
	assert.Equal(t, 21.0, only.At(evening))
}

func TestPlanIsJSON(t *testing.T) {
	p, err := rise.PlanMix(ask())
	require.NoError(t, err)
	b, err := json.Marshal(p)
	require.NoError(t, err)
	var back rise.Plan
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, p, back)
}

// Perishable food is out of the refrigerator for two hours at most, one above 32 °C: USDA FSIS, danger zone.
func TestPerishableDoughIsNotLeftWarm(t *testing.T) {
	a := ask()
	a.Perishable = []string{"milk", "egg"}
	p, err := rise.PlanMix(a)
	require.NoError(t, err)
	assert.False(t, p.Met)
	assert.Contains(t, p.Caution, "With milk, egg this dough is perishable food")
	assert.Contains(t, p.Why, "refrigerator")
	assert.Empty(t, p.Choices)
	a.Ready = evening.Add(30 * time.Hour)
	a.InoculationPct, a.DoughC, a.Target = rise.Known(35), rise.Known(26), 1.3
	p, err = rise.PlanReady(a)
	require.NoError(t, err)
	for _, c := range p.Choices {
		assert.LessOrEqual(t, c.ChillAt.Sub(c.Mix), 2*time.Hour, c.What)
	}
	plain := ask()
	p, err = rise.PlanMix(plain)
	require.NoError(t, err)
	assert.Empty(t, p.Caution)
}

func ExamplePlanReady() {
	mix := time.Date(2026, 4, 17, 21, 0, 0, 0, time.UTC)
	plan, err := rise.PlanReady(rise.Ask{
		Now: mix, Ready: mix.Add(10 * time.Hour), Target: 1.8, InoculationPct: rise.Known(15),
		HydrationPct: rise.Known(72), DoughC: rise.Known(24), Room: rise.SteadyRoom(20),
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range plan.Choices {
		fmt.Println(c.What+":", c.Text)
	}
	fmt.Println("by", plan.Basis)
	// Output:
	// starter: 13 % prefermented flour, dough at 24 °C: ready about Sat 07:00 (03:25 to 12:25)
	// cooler: 15 % prefermented flour, mixed to and kept at 20 °C: ready about Sat 07:00 (03:40 to 12:00)
	// by published ranges, since nothing is known of this starter yet
}

// Whatever is asked, a plan is times or words, and never hangs.
func FuzzPlan(f *testing.F) {
	f.Add(15.0, 70.0, 2.0, 24.0, 22.0, 2.0, 10.0, 1.0)
	f.Add(0.1, 35.0, 0.0, 0.0, -5.0, 1.05, 0.01, 0.01)
	f.Add(100.0, 160.0, 10.0, 45.0, 50.0, 10.0, 71.0, 4.0)
	f.Add(math.NaN(), math.Inf(1), -1.0, 1e300, -1e300, 0.0, -5.0, 0.0)
	f.Fuzz(func(t *testing.T, inoc, hydration, salt, doughC, roomC, target, hours, ratio float64) {
		a := rise.Ask{
			Now: evening, Target: target, InoculationPct: rise.Known(inoc), HydrationPct: rise.Known(hydration), SaltPct: rise.Known(salt),
			DoughC: rise.Known(doughC), Room: rise.SteadyRoom(roomC), Speed: rise.SpeedOf(nil, nil),
		}
		if ratio > 0.05 && ratio < 20 {
			a.Speed.Ratio = ratio
		}
		if hours > 0 && hours < 1000 {
			a.Ready = evening.Add(time.Duration(hours * float64(time.Hour)))
		}
		p, err := rise.PlanMix(a)
		if err != nil {
			return
		}
		sane(t, p)
		if p, err = rise.PlanReady(a); err == nil {
			sane(t, p)
		}
	})
}

// sane wants quantiles in order, after mixing, and text for every choice.
func sane(t *testing.T, p rise.Plan) {
	t.Helper()
	require.NotEmpty(t, p.Choices)
	_, err := json.Marshal(p)
	require.NoError(t, err)
	for _, c := range p.Choices {
		require.NotEmpty(t, c.Text)
		require.NotContains(t, c.Text, "NaN")
		if !c.P50.IsZero() {
			require.False(t, c.P50.Before(c.Mix))
			require.False(t, c.P10.After(c.P50))
		}
		if !c.P90.IsZero() {
			require.False(t, c.P90.Before(c.P50))
		}
	}
	require.Equal(t, p.Met, p.Why == "")
}
