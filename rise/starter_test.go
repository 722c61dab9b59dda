package rise_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestFeedingArithmetic(t *testing.T) {
	f := rise.Feeding{SeedG: 20, FlourG: 100, WaterG: 100}
	assert.Equal(t, "1:5:5", f.Ratio())
	assert.InDelta(t, 100.0/11, f.InoculationPct(100), 1e-9)
	assert.InDelta(t, 100, f.HydrationPct(100), 1e-9)
	assert.Equal(t, "1:2.5:1.2", rise.Feeding{SeedG: 40, FlourG: 100, WaterG: 48}.Ratio())
	require.NoError(t, f.Check())
	assert.Empty(t, f.Hints())
	assert.Contains(t, rise.Feeding{SeedG: 20, FlourG: 0.2, WaterG: 0.2}.Hints()[0], "grams")
	assert.Contains(t, rise.Feeding{SeedG: 2, FlourG: 2000, WaterG: 100}.Hints()[0], "mistyped")
}

// Firm and liquid starters of Di Cagno et al. 2014, Appl. Environ. Microbiol. 80:3161, Table 1.
func TestDoughYield(t *testing.T) {
	assert.InDelta(t, 160, rise.Feeding{FlourG: 585.9, WaterG: 351.6}.DoughYield(100), 0.05)
	assert.InDelta(t, 280, rise.Feeding{FlourG: 334.8, WaterG: 602.7}.DoughYield(100), 0.05)
}

func TestFeedingsAndStartersThatCannotBe(t *testing.T) {
	assert.ErrorContains(t, rise.Feeding{SeedG: -1, FlourG: 20, WaterG: 20}.Check(), "starter kept: -1 g")
	assert.ErrorContains(t, rise.Feeding{SeedG: 1, FlourG: math.Inf(1), WaterG: 20}.Check(), "flour: +Inf g")
	assert.ErrorContains(t, rise.Feeding{SeedG: 1, FlourG: 1, WaterG: 1, TempC: rise.Known(75)}.Check(), "75 °C")
	assert.ErrorContains(t, rise.Feeding{SeedG: 1, FlourG: 1, WaterG: 1, Flours: map[string]float64{"rye": 0.5, "wheat": 0.4}}.Check(), "add up to 0.9")
	assert.ErrorContains(t, rise.Starter{HydrationPct: 100}.Check(), "name")
	assert.ErrorContains(t, rise.Starter{Name: "Otto", HydrationPct: 1}.Check(), "was 100 % meant?")
	assert.ErrorContains(t, rise.Starter{Name: "Otto", HydrationPct: 1000}.Check(), "between 40 and 400")
	assert.ErrorContains(t, rise.Starter{Name: "Otto", HydrationPct: 100, Flours: map[string]float64{"rye": 50, "wheat": 50}}.Check(), "share of 50")
	assert.NoError(t, rise.Starter{Name: "Otto", HydrationPct: 100, Flours: map[string]float64{"rye": 1}}.Check())
}

// tent is a curve that stays at 1 for lag hours, rises straight to top in rise hours, stays for hold, and falls back as
// fast as it rose.
func tent(lag, up, hold, top float64) rise.Curve {
	var c rise.Curve
	for h := 0.0; h < lag+2*up+hold; h += 1.0 / 120 {
		m := 1 + (top-1)*min(1, math.Max(0, (h-lag)/up), math.Max(0, 1-(h-lag-up-hold)/up))
		if h < lag {
			m = 1
		}
		c.Hours, c.Multiple, c.TempC = append(c.Hours, h), append(c.Multiple, m), append(c.TempC, rise.Known(25))
	}
	return c
}

func TestMilestonesOfAStraightRise(t *testing.T) {
	m := tent(2, 4, 1, 2.5).Milestones()
	assert.InDelta(t, 2, m.LagH.Or(0), 0.05)
	assert.InDelta(t, 2+4.0/1.5, m.DoubleH.Or(0), 0.05)
	assert.InDelta(t, 2.5, m.TopMultiple.Or(0), 0.01)
	assert.InDelta(t, 6.5, m.PeakH.Or(0), 0.6)
	assert.InDelta(t, 1+2*0.4, m.HoldH.Or(0), 0.15)
	assert.InDelta(t, 25, m.MeanC.Or(0), 1e-9)
	for j, level := range rise.MilestoneLevels {
		assert.InDelta(t, 2+(level-1)*4/1.5, m.ThermalH[j].Or(0), 0.05, "at 25 °C thermal hours are hours")
	}
}

func TestMilestonesNotSeenAreUnknown(t *testing.T) {
	c := tent(2, 4, 1, 1.9)
	m := c.Milestones()
	assert.False(t, m.DoubleH.IsKnown())
	assert.True(t, m.ThermalH[2].IsKnown())
	assert.False(t, m.ThermalH[3].IsKnown())
	n := 120 * 5 // still rising
	m = rise.Curve{Hours: c.Hours[:n], Multiple: c.Multiple[:n]}.Milestones()
	assert.False(t, m.PeakH.IsKnown())
	assert.False(t, m.HoldH.IsKnown())
	assert.False(t, m.MeanC.IsKnown())
	assert.Zero(t, rise.Curve{}.Milestones())
	c.Multiple[100], c.Hours[300] = math.NaN(), math.Inf(1)
	assert.InDelta(t, 1.9, c.Milestones().TopMultiple.Or(0), 0.01)
}

// runsOf are feedings of 1:1:1 a day apart that show the given vigours at 22 °C.
func runsOf(vigours ...float64) []rise.FeedingRun {
	var runs []rise.FeedingRun
	day := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	for i, v := range vigours {
		m := rise.Milestones{MeanC: rise.Known(22), TopMultiple: rise.Known(2.4), PeakH: rise.Known(7), HoldH: rise.Known(1.5)}
		for j, level := range rise.MilestoneLevels {
			m.ThermalH[j] = rise.Known(rise.UsualHours(100.0/3, 100, 0, 25, level) / v)
		}
		f := rise.Feeding{Starter: "Otto", SeedG: 30, FlourG: 30, WaterG: 30}
		runs = append(runs, rise.NewFeedingRun(otto, i+1, day.AddDate(0, 0, i), f, m))
	}
	return runs
}

var (
	otto = rise.Starter{Name: "Otto", HydrationPct: 100, Flours: map[string]float64{"rye": 1}, Born: time.Date(2025, 9, 1, 0, 0, 0, 0, time.UTC)}
	now  = time.Date(2026, 3, 10, 8, 0, 0, 0, time.UTC)
)

func TestVerdicts(t *testing.T) {
	for name, c := range map[string]struct {
		vigours []float64
		grade   rise.Grade
		reason  string
	}{
		"strong":       {[]float64{1.1, 1.15, 1.12}, rise.GradeStrong, "three feedings in a row"},
		"usable":       {[]float64{0.85, 0.9, 0.88}, rise.GradeUsable, "would be strong"},
		"weak":         {[]float64{0.5, 0.55, 0.52}, rise.GradeWeak, "make it usable"},
		"two only":     {[]float64{1.2, 1.2}, rise.GradeUnsteady, "only 2 feedings can be compared"},
		"unsteady":     {[]float64{0.9, 1.3, 1.1}, rise.GradeUnsteady, "differ by more than 15 %"},
		"never fed":    {nil, rise.GradeNone, "No feeding"},
		"settled late": {[]float64{0.4, 0.7, 1.1, 1.12, 1.1}, rise.GradeStrong, "doubles in"},
	} {
		v := rise.Assess(otto, runsOf(c.vigours...), now, rise.Rules{})
		assert.Equal(t, c.grade, v.Grade, name)
		assert.Contains(t, v.Reason, c.reason, name)
		if c.grade == rise.GradeWeak {
			assert.Contains(t, v.Remedies[0], "22.0 °C")
			assert.Len(t, v.Remedies, 4)
		}
	}
}

func TestYoungStarterIsNeverStrong(t *testing.T) {
	young := otto
	young.Born = now.AddDate(0, 0, -9)
	v := rise.Assess(young, runsOf(1.4, 1.4, 1.4), now, rise.Rules{})
	assert.Equal(t, rise.GradeUsable, v.Grade)
	assert.Contains(t, v.Reason, "only 9 days old")
	assert.Equal(t, rise.GradeStrong, rise.Assess(young, runsOf(1.4, 1.4, 1.4), now, rise.Rules{Days: 7}).Grade)
}

func TestLiquidStarterGetsNoVerdict(t *testing.T) {
	runs := runsOf(1, 1, 1)
	for i := range runs {
		runs[i] = rise.NewFeedingRun(otto, i, runs[i].Started, rise.Feeding{SeedG: 20, FlourG: 20, WaterG: 70}, runs[i].Milestones)
	}
	v := rise.Assess(otto, runs, now, rise.Rules{})
	assert.Equal(t, rise.GradeNone, v.Grade)
	assert.Contains(t, v.Reason, "too liquid")
	runs[2] = rise.NewFeedingRun(otto, 3, runs[2].Started, rise.Feeding{SeedG: 20, FlourG: 20, WaterG: 32}, runs[2].Milestones)
	v = rise.Assess(otto, runs, now, rise.Rules{})
	assert.Contains(t, v.Notes[0], "Weak evidence: at 140 %")
	assert.Contains(t, v.Notes[1], "other flour or hydration: 2 feedings")
	assert.Equal(t, 1, v.Compared)
}

func TestOnlyLikeFloursAreCompared(t *testing.T) {
	runs := runsOf(1, 1, 1, 1)
	runs[1].Feeding.Flours = map[string]float64{"wheat": 1}
	runs[2].Feeding.Flours = map[string]float64{"rye": 0.8, "wheat": 0.2}
	like := rise.Like(runs)
	require.Len(t, like, 3)
	assert.Equal(t, []int{1, 3, 4}, []int{like[0].Run, like[1].Run, like[2].Run})
}

func TestTrendIsSeenWhenItIsThere(t *testing.T) {
	up := rise.VigourTrend(runsOf(0.6, 0.75, 0.9, 1.05, 1.2))
	assert.Greater(t, up.Lo.Or(0), 1.0)
	flat := rise.VigourTrend(runsOf(1, 1.05, 0.97, 1.02, 1))
	assert.Less(t, flat.Lo.Or(0), 1.0)
	assert.Greater(t, flat.Hi.Or(0), 1.0)
	assert.False(t, rise.VigourTrend(runsOf(1, 2)).Value.IsKnown())
}

func TestPeakIsExpectedFromLikeFeedings(t *testing.T) {
	e := rise.Expect(runsOf(1, 1, 1))
	assert.InDelta(t, 2.4, e.PeakMultiple.Or(0), 1e-9)
	assert.InDelta(t, 2.26, e.NearMultiple.Or(0), 1e-9)
	assert.InDelta(t, 1.5, e.HoldH.Or(0), 1e-9)
	assert.False(t, rise.Expect(nil).NearMultiple.IsKnown())
}

func TestFeedingRunKeepsItsFormInJSON(t *testing.T) {
	run := runsOf(1)[0]
	b, err := json.Marshal(run)
	require.NoError(t, err)
	var back rise.FeedingRun
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, run, back)
	b, err = json.Marshal(rise.Assess(otto, runsOf(1), now, rise.Rules{}))
	require.NoError(t, err)
	assert.Contains(t, string(b), `"grade":"not yet steady"`)
}
