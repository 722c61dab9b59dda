package rise

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func text(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}

// TestAddingOneByOneIsFoldingFromScratch cuts a night at every sixteenth reading: what a fresh fold says of the last
// reading is what the running tracker said.
func TestAddingOneByOneIsFoldingFromScratch(t *testing.T) {
	t.Parallel()
	n := usualNight(9)
	n.hours = 5
	n.every = 2 * time.Minute
	c := n.kase()
	at := func(h float64) Moment { return Moment{Stamp: Stamp{Boot: 1, At: hoursOf(h)}} }
	c.Actions = []Action{
		{Kind: ActionIgnore, When: at(2), From: nightStart.Add(2 * time.Hour), To: nightStart.Add(2*time.Hour + 10*time.Minute)},
		{Kind: ActionNote, When: at(1.5), DoughC: Known(22)},
		{Kind: ActionMark, Mark: "folded", When: at(1.0)},
		{Kind: ActionRebase, When: at(3)},
	}
	var es []Estimate
	for _, e := range Fold(c) {
		es = append(es, e)
	}
	require.Len(t, es, len(c.Readings))
	for cut := 16; cut < len(c.Readings); cut += 16 {
		part := c
		part.Readings = c.Readings[:cut]
		var last Estimate
		for _, e := range Fold(part) {
			last = e
		}
		require.Equal(t, text(t, es[cut-1]), text(t, last), "after %d readings", cut)
	}
}

func TestFoldStopsWhenAsked(t *testing.T) {
	n := 0
	for range Fold(usualNight(1).kase()) {
		if n++; n == 3 {
			break
		}
	}
	assert.Equal(t, 3, n)
	for range Fold(Case{}) {
		t.Fatal("a case without a target has no estimates")
	}
}

func TestShiftingTimeShiftsTheForecast(t *testing.T) {
	t.Parallel()
	n := usualNight(3)
	n.hours, n.every, n.growth = 4, time.Minute, 0.9
	c := n.kase()
	late := n.kase()
	const by = 31 * time.Hour
	late.Run.Started.Wall = late.Run.Started.Wall.Add(by)
	for i := range late.Readings {
		late.Readings[i].Time = late.Readings[i].Time.Add(by)
	}
	_, a, err := Resume(c)
	require.NoError(t, err)
	_, b, err := Resume(late)
	require.NoError(t, err)
	require.False(t, a.Forecast.P50.IsZero())
	assert.Equal(t, a.Forecast.P50.Add(by), b.Forecast.P50)
	assert.Equal(t, a.Multiple, b.Multiple)
}

func TestScalingARecordingOfLevelsLeavesTheMultiple(t *testing.T) {
	t.Parallel()
	n := usualNight(3)
	n.noiseMM, n.n = 0, 0
	levels := func(k float64) Case {
		c := n.kase()
		c.Jar = Jar{}
		for i, l := range n.levels() {
			c.Readings[i].Burst, c.Readings[i].LevelMM = Burst{}, Known(l*k)
		}
		return c
	}
	a, b := foldLevels(t, levels(1)), foldLevels(t, levels(2))
	for i := n.at(1); i < len(a); i++ {
		require.InEpsilon(t, a[i].Multiple.Or(0), b[i].Multiple.Or(-1), 1e-3, i)
	}
}

// TestTheSchoolExperiment reads heights of dough in a glass, taken by pupils each 10 minutes. The rise at 50 min and the
// time to ×1.25 are arithmetic on the table: 10.0/7.5, 11.2/8.8, 12.2/9.0, and straight lines between its rows.
func TestTheSchoolExperiment(t *testing.T) {
	f, err := os.Open("../testdata/reference/school_dough_height.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	trials := map[string]Case{}
	for _, row := range rows[1:] {
		minutes, err := strconv.Atoi(row[1])
		require.NoError(t, err)
		cm, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		at := time.Duration(minutes) * time.Minute
		c := trials[row[0]]
		c.Run.Target = 1.25
		c.Readings = append(c.Readings, Reading{Stamp: Stamp{At: at}, Time: nightStart.Add(at), LevelMM: Known(10 * cm)})
		trials[row[0]] = c
	}
	for trial, want := range map[string]struct{ rise, hours float64 }{
		"1": {100 * (10.0/7.5 - 1), (40 + 10*(1.25*7.5-9.2)/(10.0-9.2)) / 60},
		"2": {100 * (11.2/8.8 - 1), (40 + 10*(1.25*8.8-10.0)/(11.2-10.0)) / 60},
		"3": {100 * (12.2/9.0 - 1), (30 + 10*(1.25*9.0-10.5)/(11.5-10.5)) / 60},
	} {
		tr, last, err := Resume(trials[trial])
		require.NoError(t, err)
		assert.InDelta(t, want.rise, last.RisePct().Or(0), 0.5, "trial %s", trial)
		assert.InDelta(t, want.hours, tr.Summary().TargetHours.Or(0), 0.02, "trial %s", trial)
	}
}

func TestTimeRunningBackIsSetAside(t *testing.T) {
	n := usualNight(2)
	n.hours = 2
	c := n.kase()
	plain := foldLevels(t, c)
	odd := c
	odd.Readings = nil
	for i, r := range c.Readings {
		odd.Readings = append(odd.Readings, r)
		if i%10 == 9 {
			back := c.Readings[i-5]
			back.RangeMM = Known(60)
			odd.Readings = append(odd.Readings, back, r) // one from before, and the same again
		}
	}
	es := foldLevels(t, odd)
	aside := 0
	for _, e := range es {
		if e.SetAside == asideBackwards {
			aside++
		}
	}
	assert.Equal(t, len(c.Readings)/10, aside)
	assert.InDelta(t, plain[len(plain)-1].Multiple.Or(0), es[len(es)-1].Multiple.Or(0), 0.01)
}

func TestAClockThatStepsDoesNotBendARun(t *testing.T) {
	n := usualNight(2)
	n.hours = 3
	c := n.kase()
	plain := foldLevels(t, c)
	for i := range c.Readings {
		if i > 100 {
			c.Readings[i].Time = c.Readings[i].Time.Add(-9 * time.Hour)
		}
	}
	stepped := foldLevels(t, c)
	for i := range plain {
		require.Equal(t, plain[i].Multiple, stepped[i].Multiple)
		require.Equal(t, plain[i].RatePctH, stepped[i].RatePctH)
	}
}

func TestTheRateIsTheSlopeInPercentOfTheBaseVolume(t *testing.T) {
	t.Parallel()
	es := foldLevels(t, drawnCase(4, 4, func(h float64) float64 { return ramp(h, 1, 5, 2.2) }))
	// 1.2 base volumes in 4 h.
	assert.InDelta(t, 30, es[len(es)-1].RatePctH.Or(0), 1.5)
}

func TestABaseLevelThatWasGivenIsKept(t *testing.T) {
	c := drawnCase(1, 2, func(h float64) float64 { return 45 })
	c.Run.BaseMM, c.Run.UBaseMM = Known(30), Known(0.4)
	for i, e := range foldLevels(t, c) {
		require.Equal(t, Known(30.0), e.BaseMM)
		require.Equal(t, Known(0.4), e.UBaseMM)
		require.InDelta(t, 1.5, e.Multiple.Or(0), 0.03, i)
	}
}

func TestRebaseBeginsAnew(t *testing.T) {
	c := drawnCase(6, 2, func(h float64) float64 { return ramp(h, 1, 4, 1.8) })
	c.Actions = []Action{{Kind: ActionRebase, When: Moment{Stamp: Stamp{Boot: 1, At: 4*time.Hour + time.Second}}}}
	tr, last, err := Resume(c)
	require.NoError(t, err)
	assert.InDelta(t, 1, last.Multiple.Or(0), 0.01)
	assert.InDelta(t, 54, last.BaseMM.Or(0), 0.5)
	assert.True(t, tr.Backdates(Action{Kind: ActionRebase, When: Moment{Stamp: Stamp{Boot: 1, At: time.Hour}}}))
	assert.False(t, tr.Backdates(Action{Kind: ActionRebase, When: Moment{Stamp: Stamp{Boot: 1, At: 7 * time.Hour}}}))
	assert.True(t, tr.Backdates(Action{Kind: ActionIgnore, From: nightStart.Add(time.Hour)}))
	assert.False(t, tr.Backdates(Action{Kind: ActionAck}))
}

func TestIgnoredReadingsCountForNothing(t *testing.T) {
	c := drawnCase(5, 2, func(h float64) float64 {
		if h > 3 && h < 3.5 {
			return 80
		}
		return ramp(h, 1, 5, 1.5)
	})
	c.Actions = []Action{{Kind: ActionIgnore, From: nightStart.Add(3 * time.Hour), To: nightStart.Add(hoursOf(3.5)), When: Moment{Stamp: Stamp{Boot: 1, At: 4 * time.Hour}}}}
	aside := 0
	for r, e := range Fold(c) {
		if e.SetAside == asideIgnored {
			aside++
			require.InDelta(t, 3.25, r.Time.Sub(nightStart).Hours(), 0.26)
		}
		require.Empty(t, rung([]Estimate{e}, AlertReady))
	}
	assert.Equal(t, 60, aside)
}

func TestNothingHoldsAfterTheEnd(t *testing.T) {
	c := drawnCase(6, 2, func(h float64) float64 { return ramp(h, 1, 4, 2.3) })
	c.Actions = []Action{{Kind: ActionEnd, When: Moment{Stamp: Stamp{Boot: 1, At: 5 * time.Hour}}}}
	for r, e := range Fold(c) {
		if r.At < 5*time.Hour && r.At > 4*time.Hour {
			require.NotEmpty(t, e.Holds)
		} else if r.At >= 5*time.Hour {
			require.Empty(t, e.Holds)
			require.Equal(t, asideEnded, e.SetAside)
		}
	}
}

// TestTheMainDoughFollowsItsOwnTemperature: a dough that is colder than its sample is where the sample was earlier.
func TestTheMainDoughFollowsItsOwnTemperature(t *testing.T) {
	t.Parallel()
	c := drawnCase(6, 3, func(h float64) float64 { return ramp(h, 1, 6, 2.25) })
	for i := range c.Readings {
		c.Readings[i].JarC, c.Readings[i].DoughC = Known(25), Known(20)
	}
	es := foldLevels(t, c)
	last := es[len(es)-1]
	yeast := SourdoughYeast()
	behind := 6 * yeast.Rate(20) / yeast.Rate(25) // thermal hours of the dough
	assert.InDelta(t, ramp(behind, 1, 6, 2.25)/30, last.DoughMultiple.Or(0), 0.02)
	assert.InDelta(t, 2.25, last.Multiple.Or(0), 0.02)

	c = drawnCase(6, 3, func(h float64) float64 { return ramp(h, 1, 6, 2.25) })
	es = foldLevels(t, c)
	assert.False(t, es[len(es)-1].DoughMultiple.IsKnown(), "nobody knows how warm the dough is")
}

func TestASummaryTellsTheRun(t *testing.T) {
	t.Parallel()
	c := drawnCase(8, 2, func(h float64) float64 { return ramp(h, 1, 5, 2.2) - 3*max(0, h-6) })
	c.Run.Number = 12
	tr, _, err := Resume(c)
	require.NoError(t, err)
	s := tr.Summary()
	assert.Equal(t, 12, s.Run.Number)
	assert.Equal(t, Algorithm, s.Algorithm)
	assert.InDelta(t, 30, s.BaseMM.Or(0), 0.2)
	assert.InDelta(t, 2.2, s.PeakMultiple.Or(0), 0.02)
	assert.InDelta(t, 5.5, s.PeakHours.Or(0), 0.6)
	assert.InDelta(t, 1+4*1.0/1.2, s.TargetHours.Or(0), 0.05)
	assert.InDelta(t, 24, s.MeanC.Or(0), 1e-9)
	assert.NotEmpty(t, s.Growth)
}

func TestReadingsWithoutARangeSayWhy(t *testing.T) {
	tr, err := NewTracker(Case{Run: Run{Target: 2}, Jar: usualNight(1).jar()})
	require.NoError(t, err)
	for i, tt := range []struct {
		r    Reading
		want string
	}{
		{Reading{Fault: FaultBus}, "no usable range: bus"},
		{Reading{Fault: FaultView, Burst: Burst{RangeMM: Known(80)}}, "no usable range: view"},
		{Reading{}, "no usable range"},
		{Reading{Burst: Burst{RangeMM: Known(8190)}}, "below the jar's floor"},
	} {
		tt.r.Stamp = Stamp{Boot: 1, At: time.Duration(i) * time.Minute}
		e := tr.Add(tt.r)
		assert.Equal(t, tt.want, e.SetAside)
		assert.False(t, e.LevelMM.IsKnown())
		assert.Equal(t, PhaseSettling, e.Phase)
	}
	levels, err := NewTracker(Case{Run: Run{Target: 2}})
	require.NoError(t, err)
	assert.Equal(t, "a range without a jar", levels.Add(Reading{Burst: Burst{RangeMM: Known(80)}}).SetAside)
}

// FuzzAdd feeds wild readings. Whatever comes, an estimate's numbers stay in bounds and time is kept.
func FuzzAdd(f *testing.F) {
	f.Add([]byte{1, 2, 3, 200, 5, 6, 7, 8, 9, 0, 255, 128})
	f.Add([]byte("\x00\x00\x00\x00\xff\xff\xff\xff\x10\x20\x30\x40\x50\x60\x70\x80\x90"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tr, err := NewTracker(Case{Run: Run{Target: 2}, Jar: usualNight(1).jar()})
		require.NoError(t, err)
		at := time.Duration(0)
		for i := 0; i+3 < len(data) && i < 4000; i += 4 {
			b := data[i : i+4]
			at += time.Duration(int8(b[0])) * time.Duration(b[1]) * 100 * time.Millisecond
			r := Reading{Stamp: Stamp{Boot: uint32(b[3] >> 6), At: at}, Time: nightStart.Add(at)}
			d := math.Ldexp(float64(int8(b[2])), int(b[3]&31)-8)
			r.RangeMM, r.SpreadMM, r.Valid = Known(d), Known(float64(b[3]&7)), int(b[1])%21
			r.JarC = Known(d)
			if b[3]&32 != 0 {
				r.LevelMM, r.RangeMM = Known(d*1e6), Num{}
			}
			e := tr.Add(r)
			if m, ok := e.Multiple.Get(); ok {
				require.False(t, math.Signbit(e.MultipleU.Or(-1)), "m %g", m)
			}
			require.NotEmpty(t, e.Phase)
		}
		tr.Summary()
	})
}

func BenchmarkTrackerNight(b *testing.B) {
	n := usualNight(1)
	n.hours = 12.5
	c := n.kase()
	b.ReportAllocs()
	for b.Loop() {
		for range Fold(c) {
		}
	}
	b.ReportMetric(float64(len(c.Readings)), "readings")
}

func BenchmarkTrackerAdd(b *testing.B) {
	n := usualNight(1)
	n.hours = 24
	c := n.kase()
	c.Run.Target = 9
	var tr *Tracker
	i := len(c.Readings)
	b.ReportAllocs()
	for b.Loop() {
		if i == len(c.Readings) {
			b.StopTimer()
			tr, _ = NewTracker(c)
			tr.outlook.next = math.Inf(1)
			i = 0
			b.StartTimer()
		}
		tr.Add(c.Readings[i])
		i++
	}
}
