package desk_test

import (
	"bytes"
	"context"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/desk"
	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/recording"
	"nightjar/store/storetest"
)

// clock is a clock that a test moves.
type clock struct {
	wall time.Time
	boot time.Duration
}

func (c *clock) Wall() time.Time                            { return c.wall }
func (c *clock) Boot() time.Duration                        { return c.boot }
func (c *clock) Sleep(context.Context, time.Duration) error { panic("a desk does not wait") }
func (c *clock) pass(d time.Duration)                       { c.wall, c.boot = c.wall.Add(d), c.boot+d }

// evening is when the tests' machine booted.
var evening = time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)

type room struct {
	*desk.Desk
	db    *store.DB
	clock *clock
}

// newRoom is a desk over a new store, three hours after boot, with one station and one jar.
func newRoom(t *testing.T) room {
	t.Helper()
	db := storetest.Open(t)
	require.NoError(t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: db.Boot()}, Wall: evening, Synced: true}))
	c := &clock{wall: evening.Add(3 * time.Hour), boot: 3 * time.Hour}
	d := &desk.Desk{Store: db, Clock: c, Device: "nightjar", Version: "test", Stations: config.Default().Stations, Alerts: config.Default().Alerts}
	_, err := d.AddJar(rise.Jar{Name: "tall", FloorMM: 142, Profile: rise.Profile{DiameterMM: 71.5}})
	require.NoError(t, err)
	return room{d, db, c}
}

// start starts a run now.
func (r room) start(t *testing.T, run rise.Run) rise.Run {
	t.Helper()
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &run})
	require.NoError(t, err)
	return *done.Run
}

// read gives the station readings every 30 s for the time until now, of a dough that rises from 30 mm at 10 mm an hour
// after a first hour at rest.
func (r room) read(since time.Duration) {
	for at := since; at <= r.clock.boot; at += 30 * time.Second {
		level := 30 + 10*max(0, (at-since).Hours()-1)
		r.db.Add("main", rise.Reading{
			Stamp: rise.Stamp{Boot: r.db.Boot(), At: at}, JarC: rise.Known(24),
			Burst: rise.Burst{RangeMM: rise.Known(142 - level), SpreadMM: rise.Known(1), Valid: 20, Of: 20},
		})
	}
}

// refused wants a *desk.Error of a kind, and words in what it says and in its remedy.
func refused(t *testing.T, err error, kind desk.Kind, says, remedy string) {
	t.Helper()
	var e *desk.Error
	require.ErrorAs(t, err, &e)
	assert.Equal(t, kind, e.Kind, e.Msg)
	assert.Contains(t, e.Error(), says)
	assert.Contains(t, e.Hint(), remedy)
}

func TestStartFillsInWhatWasLeftOut(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &rise.Run{Name: "  country loaf "}})
	require.NoError(t, err)
	run := *done.Run
	assert.Equal(t, 1, run.Number)
	assert.Equal(t, rise.RunDough, run.Kind)
	assert.Equal(t, "main", run.Station)
	assert.Equal(t, "country loaf", run.Name)
	assert.Equal(t, "tall", run.Jar)
	assert.Equal(t, 1, run.JarVersion)
	assert.Equal(t, 2.0, run.Target)
	assert.Equal(t, rise.Known(60), run.SoonMin)
	assert.Equal(t, r.clock.wall, run.Started.Wall)
	assert.Equal(t, r.clock.boot, run.Started.At)
	assert.False(t, run.Started.Typed)
	assert.NotEmpty(t, done.Action.ID)
}

func TestTheSameIDIsDoneOnce(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	a := rise.Action{ID: "phone-7", Kind: rise.ActionStart, Start: &rise.Run{}}
	first, err := r.Do(t.Context(), a)
	require.NoError(t, err)
	r.clock.pass(time.Minute)
	again, err := r.Do(t.Context(), a)
	require.NoError(t, err)
	assert.Equal(t, first.Action, again.Action)
	assert.Equal(t, first.Run.Number, again.Run.Number)
	runs, err := r.Runs()
	require.NoError(t, err)
	assert.Len(t, runs, 1)
}

func TestStartOverAnOpenRunIsRefused(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.start(t, rise.Run{Name: "country loaf"})
	_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart})
	refused(t, err, desk.Refused, "run 1 (country loaf) is open on station main", "nightjar end")
}

func TestBackdating(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	at := func(s string) rise.Action {
		wall, err := time.Parse(time.RFC3339, s)
		require.NoError(t, err)
		return rise.Action{Kind: rise.ActionStart, When: rise.Moment{Wall: wall}}
	}
	_, err := r.Do(t.Context(), at("2026-03-04T21:30:00Z"))
	refused(t, err, desk.Bad, "in the future", "yesterday")
	_, err = r.Do(t.Context(), at("2026-03-04T17:30:00Z"))
	refused(t, err, desk.Bad, "was not running yet", "later time")

	done, err := r.Do(t.Context(), at("2026-03-04T20:15:00+01:00"))
	require.NoError(t, err)
	assert.True(t, done.Run.Started.Typed)
	assert.Equal(t, 75*time.Minute, done.Run.Started.At)
	assert.Equal(t, 3*time.Hour, done.Action.At.At)

	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd, When: rise.Moment{Wall: evening.Add(time.Hour)}})
	refused(t, err, desk.Bad, "before run 1 began", "later time")
	end := rise.Action{Kind: rise.ActionEnd, When: rise.Moment{Wall: evening.Add(2 * time.Hour)}}
	_, err = r.Do(t.Context(), end)
	require.NoError(t, err)
	_, err = r.Do(t.Context(), at("2026-03-04T19:30:00Z"))
	refused(t, err, desk.Refused, "run 1 was still open", "later time")
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	refused(t, err, desk.Refused, "no run is open", "nightjar start")
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd, Run: 1})
	refused(t, err, desk.Refused, "has ended already", "nightjar show 1")
}

func TestStartRefusesWhatCannotBe(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name         string
		run          rise.Run
		kind         desk.Kind
		says, remedy string
	}{
		{"kind", rise.Run{Kind: "loaf"}, desk.Bad, `kind "loaf"`, "dough or starter"},
		{"jar", rise.Run{Jar: "short"}, desk.Missing, `no jar "short"`, "tall"},
		{"jar's version", rise.Run{Jar: "tall@x"}, desk.Bad, "no version", "tall@2"},
		{"target of one", rise.Run{Target: 1}, desk.Bad, "target of 1", "above 1"},
		{"target as percent", rise.Run{Target: 85}, desk.Bad, "target of 85", "Did you mean 1.85?"},
		{"target as share", rise.Run{Target: 0.85}, desk.Bad, "target of 0.85", "Did you mean 1.85?"},
		{"target beyond the jar", rise.Run{Target: 9}, desk.Refused, "cannot show ×9", "taller jar"},
		{"target beyond the jar for this base", rise.Run{Target: 2.5, BaseMM: rise.Known(60)}, desk.Refused, "ends at ×2.20", "less dough"},
		{"sample beyond the jar", rise.Run{BaseMM: rise.Known(140)}, desk.Bad, "does not fit", "less dough"},
		{"sample mass beyond the jar", rise.Run{SampleG: rise.Known(1900)}, desk.Bad, "does not fit", "less dough"},
		{"inoculation as share", rise.Run{InoculationPct: rise.Known(0.2)}, desk.Bad, "inoculation of 0.2 %", "Did you mean 20 %?"},
		{"inoculation of 2000", rise.Run{InoculationPct: rise.Known(2000)}, desk.Bad, "inoculation of 2000 %", "Did you mean 20 %?"},
		{"hydration as share", rise.Run{HydrationPct: rise.Known(0.72)}, desk.Bad, "hydration", "Did you mean 72 %?"},
		{"salt in grams a kilogram", rise.Run{SaltPct: rise.Known(20)}, desk.Bad, "salt", "Did you mean 2 %?"},
		{"sample in kilograms", rise.Run{SampleG: rise.Known(0.135)}, desk.Bad, "sample of 0.135 g", "Did you mean 135 g?"},
		{"base in centimetres", rise.Run{BaseMM: rise.Known(3)}, desk.Bad, "base level of 3 mm", "Did you mean 30 mm?"},
		{"ruler in centimetres", rise.Run{RulerMM: rise.Known(3)}, desk.Bad, "height by ruler of 3 mm", "Did you mean 30 mm?"},
		{"base by mass without one", rise.Run{BaseBy: rise.BaseByMass}, desk.Bad, "needs the sample's mass", "weigh"},
		{"dough in grams", rise.Run{DoughKg: rise.Known(1800)}, desk.Bad, "1800 kg", "Did you mean 1.8 kg?"},
		{"base by guess", rise.Run{BaseBy: "guess"}, desk.Bad, `"guess"`, "mass"},
		{"flour", rise.Run{Flour: "oats"}, desk.Bad, `"oats"`, "wheat or rye"},
		{"wanted in the past", rise.Run{Plan: evening}, desk.Bad, "before it starts", "later time"},
		{"wanted in a week", rise.Run{Plan: evening.AddDate(0, 0, 7)}, desk.Bad, "away", "start it later"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := newRoom(t)
			_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &tt.run})
			refused(t, err, tt.kind, tt.says, tt.remedy)
			runs, err := r.Runs()
			require.NoError(t, err)
			assert.Empty(t, runs)
		})
	}
}

// 135 g of dough at 1.18 g/ml are 114.41 ml, 28.49 mm high in a cylinder 71.5 mm wide (V = πd²h/4).
func TestSampleMassStandsForTheBase(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &rise.Run{SampleG: rise.Known(135), Target: 4.7}})
	refused(t, err, desk.Refused, "over a sample 28 mm high it ends at ×4.63", "10 mm below the sensor")
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &rise.Run{SampleG: rise.Known(135), Target: 2}})
	require.NoError(t, err)
	assert.Contains(t, done.Notices, "In this jar 135 g gives 28 mm, room for ×4.6.")
}

// A cone of 22° is 25 mm wide 64 mm below the sensor (2 · d · tan 11°): in a jar 142 mm deep, 78 mm above the floor. In
// one 71.5 mm wide it reaches the floor.
func TestAJarNarrowerThanTheSensorSeesIsTold(t *testing.T) {
	t.Parallel()
	const told = "In this jar the sensor sees the wall below 77 mm: a wider jar, or a higher fill, is seen better."
	r := newRoom(t)
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &rise.Run{Target: 2}})
	require.NoError(t, err)
	assert.NotContains(t, strings.Join(done.Notices, " "), "sees the wall")
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	_, err = r.AddJar(rise.Jar{Name: "narrow", FloorMM: 142, UFloorMM: 0.5, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 25}})
	require.NoError(t, err)
	done, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Start: &rise.Run{Jar: "narrow", Target: 2}})
	require.NoError(t, err)
	assert.Contains(t, done.Notices, told)
}

// A run that begins learns from the starter's runs that ended before it, whoever ended them.
func TestAStartersPastRunsAreSummedUpBeforeANewOne(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.start(t, rise.Run{Starter: "gerta", InoculationPct: rise.Known(20)})
	begun := r.clock.boot
	r.clock.pass(5 * time.Hour)
	r.read(begun)
	_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	r.clock.pass(time.Hour)
	second := r.start(t, rise.Run{Starter: "gerta", InoculationPct: rise.Known(20)})
	c, err := r.db.Case(second.Number)
	require.NoError(t, err)
	require.Len(t, c.Past, 1)
	assert.Equal(t, rise.Algorithm, c.Past[0].Algorithm)
	assert.InDelta(t, 30, c.Past[0].BaseMM.Or(0), 0.5)
	assert.InDelta(t, 4, c.Past[0].TargetHours.Or(0), 0.1, "30 mm more at 10 mm an hour, after an hour at rest")

	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	other := r.start(t, rise.Run{Starter: "edda"})
	c, err = r.db.Case(other.Number)
	require.NoError(t, err)
	assert.Empty(t, c.Past)
}

func TestActionsThatAreRefused(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.starter(t)
	r.start(t, rise.Run{})
	tests := []struct {
		name         string
		a            rise.Action
		kind         desk.Kind
		says, remedy string
	}{
		{"kind", rise.Action{Kind: "stop"}, desk.Bad, `"stop"`, "end"},
		{"station", rise.Action{Kind: rise.ActionEnd, Station: "left"}, desk.Missing, `no station "left"`, "main"},
		{"run", rise.Action{Kind: rise.ActionNote, Text: "x", Run: 9}, desk.Missing, "run 9", "nightjar runs"},
		{"negative run", rise.Action{Kind: rise.ActionNote, Text: "x", Run: -1}, desk.Bad, "run -1", "count from 1"},
		{"empty note", rise.Action{Kind: rise.ActionNote, Text: "  "}, desk.Bad, "empty", "nightjar note"},
		{"huge note", rise.Action{Kind: rise.ActionNote, Text: string(make([]byte, 5000))}, desk.Bad, "longer", "shorten"},
		{"note that is no text", rise.Action{Kind: rise.ActionNote, Text: "\xff"}, desk.Bad, "no text", "shorten"},
		{"dough in °F", rise.Action{Kind: rise.ActionNote, DoughC: rise.Known(77)}, desk.Bad, "77 °C", "25.0 °C? That is 77 °F"},
		{"mark", rise.Action{Kind: rise.ActionMark, Mark: "kneaded"}, desk.Bad, `"kneaded"`, "folded"},
		{"ack of nothing", rise.Action{Kind: rise.ActionAck}, desk.Refused, "no alert is active", "nothing"},
		{"ack of an unknown alert", rise.Action{Kind: rise.ActionAck, Alert: "x-1"}, desk.Missing, `no alert "x-1"`, "nightjar status"},
		{"snooze for ever", rise.Action{Kind: rise.ActionSnooze, Minutes: 1000}, desk.Bad, "1000 minutes", "240"},
		{"rebase in centimetres", rise.Action{Kind: rise.ActionRebase, LevelMM: rise.Known(3)}, desk.Bad, "base level", "30 mm"},
		{"ignore backwards", rise.Action{Kind: rise.ActionIgnore, From: evening.Add(time.Hour), To: evening}, desk.Bad, "beginning", "both"},
		{"empty outcome", rise.Action{Kind: rise.ActionOutcome}, desk.Bad, "outcome", "tall, held, flat"},
		{"feeding of no starter", rise.Action{Kind: rise.ActionFeed}, desk.Bad, "which starter", "name"},
		{"feeding of nothing", rise.Action{Kind: rise.ActionFeed, Feed: &rise.Feeding{Starter: "gerta"}}, desk.Bad, "0 g", "grams"},
		{"negative feeding", rise.Action{Kind: rise.ActionFeed, Feed: &rise.Feeding{Starter: "gerta", SeedG: -1}}, desk.Bad, "-1 g", "grams"},
		{"feeding of an unknown starter", rise.Action{Kind: rise.ActionFeed, Feed: &rise.Feeding{Starter: "greta"}}, desk.Missing, `no starter "greta"`, "starters here: gerta"},
		{"feeding over a dough", rise.Action{Kind: rise.ActionFeed, Feed: &rise.Feeding{Starter: "gerta", SeedG: 20, FlourG: 80, WaterG: 80}}, desk.Refused, "run 1 is open", "nightjar end"},
		{"outcome in other words", rise.Action{Kind: rise.ActionOutcome, Outcome: &rise.Outcome{Crumb: "holey"}}, desk.Bad, `"holey"`, "open"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := r.Do(t.Context(), tt.a)
			refused(t, err, tt.kind, tt.says, tt.remedy)
		})
	}
}

func TestAcknowledgingAnAlert(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	run := r.start(t, rise.Run{})
	issued, _, err := r.db.Issue(rise.Alert{Kind: rise.AlertReady, Level: rise.LevelWakes, Station: "main", Run: run.Number, Episode: 1, Issued: run.Started, Text: "ready"}, nil)
	require.NoError(t, err)
	st, err := r.Status()
	require.NoError(t, err)
	assert.Equal(t, []rise.AlertKind{rise.AlertReady}, st.Stations[0].Active)
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionAck, Alert: issued.ID})
	require.NoError(t, err)
	st, err = r.Status()
	require.NoError(t, err)
	assert.Empty(t, st.Stations[0].Active)
}

func TestNoticesAreSaidWhereTheyMatter(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	do := func(a rise.Action) []string {
		t.Helper()
		done, err := r.Do(t.Context(), a)
		require.NoError(t, err)
		return done.Notices
	}
	first := do(rise.Action{Kind: rise.ActionStart})
	assert.Contains(t, first[0], "This run cannot wake you")
	assert.Contains(t, first[1], "Cover the jar loosely")
	assert.Len(t, first, 5)
	assert.Empty(t, do(rise.Action{Kind: rise.ActionNote, Text: "folded"}))
	assert.Empty(t, do(rise.Action{Kind: rise.ActionEnd}))
	assert.Len(t, do(rise.Action{Kind: rise.ActionStart}), 2, "the longer cautions are said once")
	do(rise.Action{Kind: rise.ActionEnd})
	starter := do(rise.Action{Kind: rise.ActionStart, Start: &rise.Run{Kind: rise.RunStarter, Starter: "gerta"}})
	assert.Contains(t, starter[2], "USDA FSIS")
}

func TestJarsAreVersioned(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	second, err := r.AddJar(rise.Jar{Name: "tall", FloorMM: 141, UFloorMM: 0.2, Profile: rise.Profile{DiameterMM: 71.5}})
	require.NoError(t, err)
	assert.Equal(t, 2, second.Version)
	assert.Equal(t, r.clock.wall, second.Made)
	first, err := r.Jar("tall@1")
	require.NoError(t, err)
	assert.Equal(t, 142.0, first.FloorMM)
	assert.Equal(t, 0.5, first.UFloorMM, "a jar without an uncertainty gets the usual one")
	newest, err := r.Jar("tall")
	require.NoError(t, err)
	assert.Equal(t, second, newest)
	_, err = r.Jar("tall@3")
	refused(t, err, desk.Missing, "tall@3", "tall")

	for remedy, j := range map[string]rise.Jar{
		"a-z":                   {Name: "Tall glass", FloorMM: 142, Profile: rise.Profile{DiameterMM: 71.5}},
		"Did you mean 142 mm?":  {Name: "x", FloorMM: 14.2, Profile: rise.Profile{DiameterMM: 71.5}},
		"Did you mean 71.5 mm?": {Name: "x", FloorMM: 142, Profile: rise.Profile{DiameterMM: 7.15}},
		"from 0.05 to 20":       {Name: "x", FloorMM: 142, UFloorMM: -1, Profile: rise.Profile{DiameterMM: 71.5}},
	} {
		_, err := r.AddJar(j)
		refused(t, err, desk.Bad, "", remedy)
	}
}

func TestSeveralStationsMustBeNamed(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.Stations = append(r.Stations, config.Station{Name: "left", Every: 30 * time.Second})
	_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionStart})
	refused(t, err, desk.Bad, "which one?", "main, left")
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionStart, Station: "left"})
	require.NoError(t, err)
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionNote, Text: "x", Run: 1, Station: "main"})
	refused(t, err, desk.Bad, "run 1 is on station left", "leave the station out")
}

func TestStatusAndSeriesComeFromTheReadings(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	run := r.start(t, rise.Run{Name: "country loaf"})
	begun := r.clock.boot
	r.clock.pass(3 * time.Hour)
	r.read(begun)

	st, err := r.Status()
	require.NoError(t, err)
	one := st.Stations[0]
	assert.False(t, st.Live)
	assert.Equal(t, 1, *one.Run)
	assert.Equal(t, "tall@1", one.Jar)
	assert.Equal(t, rise.PhaseRising, one.Phase)
	assert.Equal(t, rise.Known(24), one.JarC)
	assert.False(t, one.Stale)
	assert.InDelta(t, 50.0/30, one.Multiple.Or(0), 0.02)

	s, err := r.Series(t.Context(), run.Number, 30*time.Minute)
	require.NoError(t, err)
	require.Len(t, s.Points, 7)
	assert.Equal(t, run.Started.Wall, s.Points[0].Time)
	assert.Equal(t, r.clock.wall, s.Points[6].Time)
	assert.Equal(t, one.Multiple, s.Points[6].Multiple)
	assert.Len(t, s.Actions, 1)
	_, err = r.Series(t.Context(), 7, time.Hour)
	refused(t, err, desk.Missing, "no run 7", "nightjar runs")

	r.clock.pass(time.Hour)
	st, err = r.Status()
	require.NoError(t, err)
	assert.True(t, st.Stations[0].Stale)
}

// What was done is shown in the order in which it was done, not told.
func TestSeriesShowsBackdatedActionsInTheirPlace(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.start(t, rise.Run{})
	r.clock.pass(time.Hour)
	for _, a := range []rise.Action{
		{Kind: rise.ActionMark, Mark: "folded"},
		{Kind: rise.ActionMark, Mark: "mixed", When: rise.Moment{Wall: r.clock.wall.Add(-30 * time.Minute)}},
	} {
		_, err := r.Do(t.Context(), a)
		require.NoError(t, err)
	}
	s, err := r.Series(t.Context(), 1, time.Hour)
	require.NoError(t, err)
	require.Len(t, s.Actions, 3)
	assert.Equal(t, []string{"", "mixed", "folded"}, []string{s.Actions[0].Mark, s.Actions[1].Mark, s.Actions[2].Mark})
}

func TestExportIsReadAgain(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	run := r.start(t, rise.Run{Name: "country loaf"})
	begun := r.clock.boot
	r.clock.pass(2 * time.Hour)
	r.read(begun)
	for _, format := range []string{"", "csv", "json"} {
		var b bytes.Buffer
		require.NoError(t, r.Export(t.Context(), &b, run.Number, format))
		c, err := recording.Read(&b, "export", recording.Options{})
		require.NoError(t, err, format)
		assert.Len(t, c.Readings, 241)
		assert.Equal(t, "country loaf", c.Run.Name)
		assert.Len(t, c.Actions, 1)
	}
	refused(t, r.Export(t.Context(), io.Discard, run.Number, "xls"), desk.Bad, "xls", "csv or json")
	refused(t, r.Export(t.Context(), io.Discard, 8, "csv"), desk.Missing, "no run 8", "nightjar runs")
}
