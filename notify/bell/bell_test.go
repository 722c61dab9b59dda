package bell_test

import (
	"fmt"
	"testing"
	"time"
	_ "time/tzdata"

	"nightjar/notify/bell"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var oslo = func() *time.Location {
	l, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		panic(err)
	}
	return l
}()

// at is a time of the night from 14 to 15 March 2026; hours below 12 belong to the 15th.
func at(clock string) time.Time {
	t, err := time.ParseInLocation("15:04", clock, oslo)
	if err != nil {
		panic(err)
	}
	day := 14
	if t.Hour() < 12 {
		day = 15
	}
	return time.Date(2026, 3, day, t.Hour(), t.Minute(), 0, 0, oslo)
}

func TestQuietHours(t *testing.T) {
	p := bell.Default()
	for clock, want := range map[string]bool{"12:00": false, "21:59": false, "22:00": true, "23:59": true, "00:00": true, "06:59": true, "07:00": false, "11:59": false} {
		until, quiet := p.Quiet(at(clock))
		assert.Equal(t, want, quiet, clock)
		if quiet {
			assert.Equal(t, at("07:00"), until, clock)
		}
	}
	p.QuietFrom, p.QuietTo = bell.Hour{Hour: 1}, bell.Hour{Hour: 6}
	for clock, want := range map[string]bool{"00:59": false, "01:00": true, "05:59": true, "06:00": false, "22:00": false} {
		_, quiet := p.Quiet(at(clock))
		assert.Equal(t, want, quiet, clock)
	}
	p.QuietTo = p.QuietFrom
	_, quiet := p.Quiet(at("03:00"))
	assert.False(t, quiet, "none")
}

// In the night to 29 March 2026 clocks in Oslo go from 2 to 3, in that to 25 October from 3 to 2 (EU directive 2000/84/EC).
func TestQuietHoursWhenTheClocksChange(t *testing.T) {
	p := bell.Default()
	spring := time.Date(2026, 3, 28, 23, 0, 0, 0, oslo)
	until, quiet := p.Quiet(spring)
	require.True(t, quiet)
	assert.Equal(t, 7*time.Hour, until.Sub(spring))
	autumn := time.Date(2026, 10, 24, 23, 0, 0, 0, oslo)
	until, quiet = p.Quiet(autumn)
	require.True(t, quiet)
	assert.Equal(t, 9*time.Hour, until.Sub(autumn))
}

// Which alerts wake is the product's own table.
func TestLevels(t *testing.T) {
	p := bell.Default()
	quick := bell.Situation{Since: at("03:00"), Early: at("05:00")}
	for _, tt := range []struct {
		name   string
		kind   rise.AlertKind
		change func(*bell.Situation)
		clock  string
		want   rise.AlertLevel
	}{
		{"ready", rise.AlertReady, nil, "04:00", rise.LevelWakes},
		{"past", rise.AlertPast, nil, "04:00", rise.LevelWakes},
		{"ready starter", rise.AlertReady, func(s *bell.Situation) { s.RunKind = rise.RunStarter }, "04:00", rise.LevelQuiet},
		{"falling dough", rise.AlertFalling, func(s *bell.Situation) { s.RunKind = rise.RunDough }, "04:00", rise.LevelWakes},
		{"falling starter", rise.AlertFalling, func(s *bell.Situation) { s.RunKind = rise.RunStarter }, "04:00", rise.LevelWarning},
		{"slow, nothing to be done", rise.AlertSlow, nil, "04:00", rise.LevelWarning},
		{"slow, acting helps", rise.AlertSlow, func(s *bell.Situation) { s.ActingHelps = true }, "23:00", rise.LevelWakes},
		{"fault of a quarter of an hour", rise.AlertFault, nil, "03:15", rise.LevelWakes},
		{"fault of less", rise.AlertFault, nil, "03:14", rise.LevelWarning},
		{"fault, ready after breakfast", rise.AlertFault, func(s *bell.Situation) { s.Early = at("07:00") }, "04:00", rise.LevelWarning},
		{"fault without a forecast", rise.AlertFault, func(s *bell.Situation) { s.Early = time.Time{} }, "04:00", rise.LevelWarning},
		{"fault by day", rise.AlertFault, func(s *bell.Situation) { s.Since, s.Early = at("12:00"), at("14:00") }, "13:00", rise.LevelWarning},
		{"soon", rise.AlertSoon, nil, "04:00", rise.LevelQuiet},
		{"cold", rise.AlertCold, nil, "04:00", rise.LevelWarning},
		{"warm", rise.AlertWarm, nil, "04:00", rise.LevelWarning},
		{"away", rise.AlertAway, nil, "04:00", rise.LevelWarning},
		{"restored", rise.AlertRestored, nil, "04:00", rise.LevelQuiet},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := quick
			s.Kind = tt.kind
			if tt.change != nil {
				tt.change(&s)
			}
			got := p.Level(s, at(tt.clock))
			assert.Equal(t, tt.want, got)
			due := p.Due(got, at(tt.clock))
			_, quiet := p.Quiet(at(tt.clock))
			if quiet && got != rise.LevelWakes {
				assert.Equal(t, at("07:00"), due, "waits for the morning")
			} else {
				assert.Equal(t, at(tt.clock), due)
			}
		})
	}
	p.Levels = map[rise.AlertKind]rise.AlertLevel{rise.AlertSoon: rise.LevelWakes}
	assert.Equal(t, rise.LevelWakes, p.Level(bell.Situation{Kind: rise.AlertSoon}, at("04:00")))
}

// rings lists when the bell rings if nobody answers, in minutes after the first.
func rings(p bell.Policy, b bell.Bell) (minutes []int) {
	first := b.Last
	for len(minutes) < 100 {
		next, ok := p.Next(b)
		if !ok {
			return minutes
		}
		minutes = append(minutes, int(next.Sub(first).Minutes()))
		b = b.Ring(next)
	}
	return minutes
}

func TestRings(t *testing.T) {
	p := bell.Default()
	ready := bell.Bell{Kind: rise.AlertReady, Last: at("04:00")}
	assert.Equal(t, []int{0, 5, 10, 15, 20, 25}, rings(p, ready))
	assert.Equal(t, []int{0}, rings(p, bell.Bell{Kind: rise.AlertPast, Last: at("04:00")}))

	ready.Silent = true
	assert.Empty(t, rings(p, ready))

	rung := bell.Bell{Kind: rise.AlertReady, Last: at("04:00")}.Ring(at("04:00")).Ring(at("04:05"))
	assert.Equal(t, []int{5, 10, 15, 20}, rings(p, rung))
	snoozed := rung.Snooze(at("04:35"))
	assert.Equal(t, []int{30, 35, 40, 45, 50, 55}, rings(p, snoozed), "from its end on, all of them")
	past := bell.Bell{Kind: rise.AlertPast, Last: at("04:00")}.Ring(at("04:00")).Snooze(at("04:10"))
	assert.Equal(t, []int{10}, rings(p, past))
}

func TestPastSteps(t *testing.T) {
	for multiple, want := range map[float64]int{1: 0, 2: 0, 2.24: 0, 2.25: 1, 2.49: 1, 2.5: 2, 3: 4} {
		assert.Equal(t, want, bell.PastSteps(rise.Known(multiple), 2), multiple)
	}
	assert.Equal(t, 2, bell.PastSteps(rise.Known(2.3), 1.8))
	assert.Zero(t, bell.PastSteps(rise.Num{}, 2))
}

func TestBedtime(t *testing.T) {
	p := bell.Default()
	o := bell.Outlook{Earliest: at("03:10"), Likely: at("04:00"), Latest: at("05:20"), Armed: true}
	never := bell.Sent{}
	tonight := bell.Sent{At: at("21:30"), Latest: o.Latest}
	for _, tt := range []struct {
		name   string
		clock  string
		last   bell.Sent
		latest time.Time
		want   bool
	}{
		{"in the afternoon", "16:00", never, o.Latest, false},
		{"at bedtime", "21:30", never, o.Latest, true},
		{"the machine was off at bedtime", "23:10", never, o.Latest, true},
		{"sent yesterday", "21:30", bell.Sent{At: at("21:30").AddDate(0, 0, -1), Latest: o.Latest}, o.Latest, true},
		{"sent tonight", "21:40", tonight, o.Latest, false},
		{"moved by 29 min", "21:50", tonight, o.Latest.Add(29 * time.Minute), false},
		{"moved by 30 min", "21:50", tonight, o.Latest.Add(30 * time.Minute), true},
		{"moved to earlier", "21:50", tonight, o.Latest.Add(-30 * time.Minute), true},
		{"moved in quiet hours", "22:00", tonight, o.Latest.Add(time.Hour), false},
		{"not expected any more", "21:50", tonight, time.Time{}, true},
		{"in the morning", "07:30", tonight, o.Latest, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			now := o
			now.Latest = tt.latest
			assert.Equal(t, tt.want, p.BedtimeDue(now, tt.last, at(tt.clock)))
		})
	}
}

func TestBedtimeWords(t *testing.T) {
	o := bell.Outlook{Earliest: at("03:10"), Likely: at("04:00"), Latest: at("05:20").Add(time.Second), Armed: true}
	assert.Equal(t, "Ready at 03:10 at the earliest, likely at 04:00, by 05:21 at the latest. The bell is armed. As a backstop, set your own alarm for 05:21.", o.Text())
	o = bell.Outlook{Reason: "too early to tell."}
	assert.Equal(t, "No time can be told: too early to tell. The bell is NOT armed: no route reaches a person.", o.Text())
}

func TestHour(t *testing.T) {
	h, err := bell.ParseHour("22:30")
	require.NoError(t, err)
	assert.Equal(t, "22:30", h.String())
	for _, s := range []string{"", "24:00", "9pm", "22:60", "22"} {
		_, err := bell.ParseHour(s)
		assert.ErrorContains(t, err, "write it as 22:30", s)
	}
}

func TestPolicyCheck(t *testing.T) {
	require.NoError(t, bell.Default().Check())
	for _, change := range []func(*bell.Policy){
		func(p *bell.Policy) { p.Every = time.Second }, func(p *bell.Policy) { p.Every = 2 * time.Hour },
		func(p *bell.Policy) { p.Rings = 0 }, func(p *bell.Policy) { p.Rings = 1000 },
		func(p *bell.Policy) { p.Unhealed = -1 }, func(p *bell.Policy) { p.Moved = 0 },
	} {
		p := bell.Default()
		change(&p)
		assert.Error(t, p.Check())
	}
}

func Example() {
	p := bell.Default()
	b := bell.Bell{Kind: rise.AlertReady, Last: time.Date(2026, 3, 15, 4, 10, 0, 0, time.UTC)}
	for {
		at, ok := p.Next(b)
		if !ok {
			break
		}
		fmt.Print(at.Format("15:04 "))
		b = b.Ring(at)
	}
	// Output: 04:10 04:15 04:20 04:25 04:30 04:35
}

func TestBedtimeIsToldOnceWhereThereAreNoQuietHours(t *testing.T) {
	p := bell.Default()
	p.QuietTo = p.QuietFrom
	o := bell.Outlook{Earliest: at("04:00"), Likely: at("05:00"), Latest: at("06:00")}
	require.True(t, p.BedtimeDue(o, bell.Sent{}, at("21:30")))
	assert.False(t, p.BedtimeDue(o, bell.Sent{At: at("21:30"), Latest: at("03:00")}, at("23:00")))
}
