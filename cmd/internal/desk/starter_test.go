package desk_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/desk"
	"nightjar/rise"
	"nightjar/store"
)

// starter adds the starter gerta.
func (r room) starter(t *testing.T) {
	t.Helper()
	_, err := r.AddStarter(rise.Starter{Name: "gerta", Born: evening.AddDate(-1, 0, 0)})
	require.NoError(t, err)
}

// feed feeds gerta 1:2:2 on the station, lets it rise at 25 °C by a logistic curve that peaks at ×2.4, falls, and goes on for
// so long in all.
func (r room) feed(t *testing.T, hours float64) rise.Run {
	t.Helper()
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionFeed, Feed: &rise.Feeding{Starter: "gerta", SeedG: 30, FlourG: 60, WaterG: 60}})
	require.NoError(t, err)
	require.NotNil(t, done.Run)
	begun := r.clock.boot
	for at := time.Duration(0); at.Hours() <= hours; at += time.Minute {
		h := at.Hours()
		level := 30 * (1 + 1.4/(1+math.Exp(-(h-5)*1.5)) - 0.3/(1+math.Exp(-(h-10)*2)))
		r.db.Add("main", rise.Reading{
			Stamp: rise.Stamp{Boot: r.db.Boot(), At: begun + at}, JarC: rise.Known(25), RoomC: rise.Known(21),
			Burst: rise.Burst{RangeMM: rise.Known(142 - level), SpreadMM: rise.Known(1), Valid: 20, Of: 20},
		})
	}
	r.clock.pass(time.Duration(hours * float64(time.Hour)))
	return *done.Run
}

func TestAFeedingOpensAStarterRunAndTheNextOneEndsIt(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.starter(t)
	first := r.feed(t, 12)
	assert.Equal(t, rise.RunStarter, first.Kind)
	assert.Equal(t, 2.0, first.Target, "doubling, while nothing is known of it")
	// 30 g of starter at 100 % hydration are 15 g of flour; 15 of 75 are 20 %.
	assert.InDelta(t, 20, first.InoculationPct.Or(0), 1e-9)
	assert.InDelta(t, 100, first.HydrationPct.Or(0), 1e-9)

	second := r.feed(t, 12)
	assert.Equal(t, first.Number+1, second.Number)
	assert.InDelta(t, 1+0.9*1.4, r.feed(t, 1).Target, 0.06, "nine tenths of the height that the ended one reached")
	ended, err := r.Run(first.Number)
	require.NoError(t, err)
	assert.False(t, ended.Open())
}

func TestAFeedingThatNothingWatchesIsKept(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.starter(t)
	r.Stations = append(r.Stations, r.Stations[0])
	r.Stations[1].Name = "left"
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionFeed, Start: &rise.Run{}, Feed: &rise.Feeding{Starter: "gerta", SeedG: 30, FlourG: 60, WaterG: 60}})
	require.NoError(t, err)
	assert.Nil(t, done.Run)
}

func TestAStarterIsJudgedByItsFeedings(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.starter(t)
	s, err := r.Starter(t.Context(), "gerta")
	require.NoError(t, err)
	assert.Equal(t, rise.GradeNone, s.Verdict.Grade)
	for range 4 {
		r.feed(t, 12)
	}
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	s, err = r.Starter(t.Context(), "gerta")
	require.NoError(t, err)
	assert.Equal(t, 4, s.Fed)
	require.Len(t, s.Feedings, 4)
	assert.True(t, s.Verdict.Steady)
	assert.Contains(t, []rise.Grade{rise.GradeStrong, rise.GradeUsable, rise.GradeWeak}, s.Verdict.Grade)
	assert.InDelta(t, 2.4, s.Expected.PeakMultiple.Or(0), 0.06)
	// It doubles where 1.4/(1+exp(-1.5(h-5))) is 1: h = 5 + ln(2.5)/1.5, by its curve.
	assert.InDelta(t, 5+math.Log(2.5)/1.5, s.Feedings[3].Milestones.DoubleH.Or(0), 0.1)

	all, err := r.Starters(t.Context())
	require.NoError(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, 4, all[0].Fed)
	assert.Empty(t, all[0].Feedings)

	plan, err := r.PlanFeed(t.Context(), "gerta", api.FeedAsk{Ripe: r.clock.wall.Add(9 * time.Hour), RoomC: rise.Known(24)})
	require.NoError(t, err)
	assert.True(t, plan.Met)
	assert.Contains(t, plan.Basis, "feedings")
	assert.NotEmpty(t, plan.Choices)
	_, err = r.PlanFeed(t.Context(), "gerta", api.FeedAsk{Ripe: r.clock.wall.Add(-time.Hour), RoomC: rise.Known(24)})
	refused(t, err, desk.Bad, "in the past", "--ripe")
}

func TestStartersThatCannotBe(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	_, err := r.Starter(t.Context(), "gerta")
	refused(t, err, desk.Missing, `no starter "gerta"`, "nightjar starters add")
	for remedy, s := range map[string]rise.Starter{
		"a-z":     {Name: "Gerta!"},
		"water":   {Name: "gerta", HydrationPct: 0.8},
		"add up":  {Name: "gerta", Flours: map[string]float64{"rye": 0.4, "wheat": 0.4}},
		"the day": {Name: "gerta", Born: r.clock.wall.AddDate(0, 0, 1)},
	} {
		_, err := r.AddStarter(s)
		refused(t, err, desk.Bad, "", remedy)
	}
}

func loaf() rise.Recipe {
	return rise.Recipe{Name: "country", Target: rise.Known(1.8), DoughC: rise.Known(25), Ingredients: []rise.Ingredient{
		{Name: "flour", Part: rise.PartFlour, G: 450}, {Name: "water", Part: rise.PartWater, G: 300},
		{Name: "starter", Part: rise.PartStarter, G: 100}, {Name: "salt", Part: rise.PartSalt, G: 10},
	}}
}

func TestARunFollowsItsRecipe(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	_, err := r.Recipe("country")
	refused(t, err, desk.Missing, `no recipe "country"`, "nightjar recipes add")
	shown, err := r.AddRecipe(loaf())
	require.NoError(t, err)
	assert.Equal(t, 1, shown.Version)
	// 100 g of starter are 50 flour and 50 water: 350 of 500 is 70 %, 50 of 500 is 10 %, 10 of 500 is 2 %.
	assert.InDelta(t, 70, shown.Formula.HydrationPct, 1e-9)
	run := r.start(t, rise.Run{Recipe: "country"})
	assert.Equal(t, "country@1", run.Recipe)
	assert.Equal(t, 1.8, run.Target)
	assert.InDelta(t, 10, run.InoculationPct.Or(0), 1e-9)
	assert.InDelta(t, 2, run.SaltPct.Or(0), 1e-9)

	second := loaf()
	second.Ingredients = append(second.Ingredients, rise.Ingredient{Name: "milk", Part: rise.PartOther, G: 100, WaterPct: rise.Known(87)})
	shown, err = r.AddRecipe(second)
	require.NoError(t, err)
	assert.Equal(t, 2, shown.Version)
	assert.Contains(t, shown.Caution, "USDA FSIS")
	old, err := r.Recipe("country@1")
	require.NoError(t, err)
	assert.Empty(t, old.Caution)
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &rise.Run{Recipe: "country", Target: 2}})
	require.NoError(t, err)
	assert.Equal(t, 2.0, done.Run.Target, "what is given goes before the recipe")
	assert.Contains(t, done.Notices, shown.Caution)
	_, err = r.AddRecipe(rise.Recipe{Name: "empty"})
	refused(t, err, desk.Bad, "flour", "grams")
}

func TestPlans(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.starter(t)
	_, err := r.AddRecipe(loaf())
	require.NoError(t, err)
	_, err = r.Plan(t.Context(), api.PlanAsk{Recipe: "country"})
	refused(t, err, desk.Bad, "no earlier night", "--room 21")

	p, err := r.Plan(t.Context(), api.PlanAsk{Recipe: "country", RoomC: rise.Known(22)})
	require.NoError(t, err)
	assert.True(t, p.Met)
	assert.Equal(t, "22.0 °C as given", p.Room)
	assert.Contains(t, p.Basis, "published ranges")
	// 10 % prefermented flour at room temperature takes 10 to 14 h to double (common practice, no source); ×1.8 is sooner.
	assert.InDelta(t, 10, p.Choices[0].P50.Sub(r.clock.wall).Hours(), 3)
	assert.Equal(t, 25.0, p.Choices[0].DoughC, "the recipe's")

	p, err = r.Plan(t.Context(), api.PlanAsk{Recipe: "country", Starter: "gerta", RoomC: rise.Known(22), Ready: r.clock.wall.Add(12 * time.Hour)})
	require.NoError(t, err)
	assert.True(t, p.Met)
	assert.NotEmpty(t, p.Choices)
	for remedy, ask := range map[string]api.PlanAsk{
		"--ready":          {RoomC: rise.Known(22), Ready: r.clock.wall.Add(-time.Hour)},
		"21.1 °C?":         {RoomC: rise.Known(70)},
		"starters here":    {RoomC: rise.Known(22), Starter: "greta"},
		"recipes here":     {RoomC: rise.Known(22), Recipe: "rustic"},
		"Did you mean 1.8": {RoomC: rise.Known(22), Target: 80},
	} {
		_, err := r.Plan(t.Context(), ask)
		var e *desk.Error
		require.ErrorAs(t, err, &e)
		assert.Contains(t, e.Hint(), remedy)
	}

	// The room as the station's own earlier nights had it.
	r.feed(t, 12)
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	p, err = r.Plan(t.Context(), api.PlanAsk{Recipe: "country"})
	require.NoError(t, err)
	assert.Equal(t, "station main's last 1 runs", p.Room)
}

func TestReplanOfARisingDough(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	run := r.start(t, rise.Run{Target: 2, InoculationPct: rise.Known(15)})
	begun := r.clock.boot
	r.clock.pass(150 * time.Minute)
	r.read(begun)
	p, err := r.Replan(run.Number, api.ReplanAsk{Ready: r.clock.wall.Add(5 * time.Hour)})
	require.NoError(t, err)
	assert.NotEmpty(t, p.Choices)
	_, err = r.Replan(run.Number, api.ReplanAsk{Ready: evening})
	refused(t, err, desk.Bad, "in the past", "nightjar status")
	_, err = r.Replan(9, api.ReplanAsk{Ready: r.clock.wall.Add(time.Hour)})
	refused(t, err, desk.Missing, "no run 9", "nightjar runs")
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	_, err = r.Replan(run.Number, api.ReplanAsk{Ready: r.clock.wall.Add(time.Hour)})
	refused(t, err, desk.Refused, "has ended", "nightjar plan")
}

func TestCompareRuns(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	for i := range 2 {
		r.start(t, rise.Run{InoculationPct: rise.Known(15)})
		begun := r.clock.boot
		r.clock.pass(4 * time.Hour)
		r.read(begun)
		for _, a := range []rise.Action{
			{Kind: rise.ActionMark, Mark: "mixed", When: rise.Moment{Wall: r.clock.wall.Add(-210 * time.Minute)}},
			{Kind: rise.ActionEnd},
		} {
			_, err := r.Do(t.Context(), a)
			require.NoError(t, err)
		}
		r.clock.pass(time.Hour)
		for _, a := range []rise.Action{
			{Kind: rise.ActionMark, Mark: "baked", Run: i + 1},
			{Kind: rise.ActionOutcome, Run: i + 1, Outcome: &rise.Outcome{Spread: "held", Crumb: "tight"}},
		} {
			_, err := r.Do(t.Context(), a)
			require.NoError(t, err)
		}
	}
	c, err := r.Compare(t.Context(), nil)
	require.NoError(t, err)
	require.Len(t, c.Runs, 2)
	one := c.Runs[0]
	assert.InDelta(t, 3.5, one.Bake.Hours.Or(0), 0.01, "bulk counts from mixed")
	assert.InDelta(t, 1, one.Bake.AfterH.Or(0), 0.01)
	assert.InDelta(t, 2, one.Bake.Multiple.Or(0), 0.03)
	assert.InDelta(t, 17, len(one.Hours), 1, "a point each quarter of an hour")
	assert.Len(t, one.ThermalH, len(one.Hours))
	assert.Less(t, one.ThermalH[16], one.Hours[16], "24 °C is slower than 25")
	assert.NotEmpty(t, c.Advice.Reason)
	assert.Contains(t, c.Advice.Unseen, "shaping")
	_, err = r.Compare(t.Context(), []int{1, 7})
	refused(t, err, desk.Missing, "no run 7", "nightjar runs")
	_, err = r.Compare(t.Context(), make([]int, 11))
	refused(t, err, desk.Bad, "too many", "at most 10")
}

// slowStore takes its time to gather a night.
type slowStore struct {
	*store.DB
	asked, release chan struct{}
}

func (s slowStore) Case(n int) (rise.Case, error) {
	close(s.asked)
	<-s.release
	return s.DB.Case(n)
}

// Earlier nights are folded again before a run begins; nobody who wants to stop a bell waits for that.
func TestFoldingEarlierNightsHoldsNobodyUp(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.starter(t)
	r.feed(t, 1)
	_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	slow := slowStore{r.db, make(chan struct{}), make(chan struct{})}
	r.Store = slow
	started := make(chan error, 1)
	go func() {
		_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &rise.Run{Starter: "gerta"}})
		started <- err
	}()
	<-slow.asked
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionNote, Text: "up", Run: 1})
	require.NoError(t, err)
	close(slow.release)
	require.NoError(t, <-started)
}
