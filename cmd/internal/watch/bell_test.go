package watch_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/watch"
	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/store"
)

// act stores an action of a person at this moment.
func (k *kitchen) act(db *store.DB, w *watch.Watch, a rise.Action) {
	now := rise.Moment{Stamp: rise.Stamp{Boot: db.Boot(), At: k.clock.Boot()}, Wall: k.clock.Wall()}
	a.ID, a.Station, a.When, a.At = fmt.Sprintf("%s-%d", a.Kind, k.clock.Boot()), "main", now, now
	_, _, err := db.Act(a)
	require.NoError(k.t, err)
	w.Changed("main")
}

// of picks the alerts of a kind.
func of(all []rise.Alert, kind rise.AlertKind) (some []rise.Alert) {
	for _, a := range all {
		if a.Kind == kind {
			some = append(some, a)
		}
	}
	return some
}

func TestBell_RingsSixTimesFiveMinutesApart(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.during(10*time.Hour, k.start)
	_, all := k.alerts(1)
	rings := of(all, rise.AlertReady)
	require.Len(t, rings, 6)
	for i, r := range rings {
		assert.Equal(t, i+1, r.N)
		assert.Equal(t, rise.LevelWakes, r.Level)
		assert.Zero(t, r.NotBefore)
		if i > 0 {
			assert.Equal(t, rings[0].ID, r.Repeats)
			assert.NotEqual(t, rings[0].ID, r.ID)
			assert.InDelta(t, 5, (r.Issued.At - rings[i-1].Issued.At).Minutes(), 0.6)
			assert.Contains(t, r.Text, fmt.Sprintf("Ring %d", i+1))
		}
	}
	assert.NotEmpty(t, of(all, rise.AlertPast), "and past tells that it goes on")
}

func TestBell_AnAnswerSilencesItAndASnoozeBringsItBack(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.during(8*time.Hour, k.start) // rung by then, at about 7 h 50 min after the first tick
	_, all := k.alerts(1)
	require.NotEmpty(t, of(all, rise.AlertReady))
	k.during(time.Hour, func(db *store.DB, w *watch.Watch) { k.act(db, w, rise.Action{Kind: rise.ActionSnooze, Minutes: 20}) })
	_, all = k.alerts(1)
	rings := of(all, rise.AlertReady)
	var at []float64
	for _, r := range rings {
		at = append(at, (r.Issued.At - 8*time.Hour - 10*time.Minute).Minutes())
	}
	snoozed := 0
	for _, m := range at {
		assert.False(t, m > 0.5 && m < 20, "rung at %.1f min of the 20 min that it was put off", m)
		if m >= 20 {
			snoozed++
		}
	}
	assert.Equal(t, 6, snoozed, "whoever snoozes wants to be rung: %v", at)

	k = newKitchen(t)
	k.level = doubling
	k.during(8*time.Hour, k.start)
	_, all = k.alerts(1)
	before := len(of(all, rise.AlertReady))
	k.during(time.Hour, func(db *store.DB, w *watch.Watch) { k.act(db, w, rise.Action{Kind: rise.ActionAck}) })
	_, all = k.alerts(1)
	assert.Len(t, of(all, rise.AlertReady), before, "silent after an answer")
}

func TestBell_AJarTakenOutAfterReadySilencesItAndAsksOnce(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	out := 8*time.Hour + 12*time.Minute
	k.level = func(at time.Duration) float64 {
		if at > out {
			return -8 // the ranger sees the shelf
		}
		return doubling(at)
	}
	k.during(9*time.Hour, k.start)
	k.during(10*time.Minute, nil)
	_, all := k.alerts(0)
	away := of(all, rise.AlertAway)
	require.Len(t, away, 1)
	assert.Contains(t, away[0].Text, "Is the dough taken out too?")
	_, all = k.alerts(1)
	for _, r := range of(all, rise.AlertReady) {
		assert.Less(t, r.Issued.At, out+3*time.Minute)
	}
}

func TestBell_WhatDoesNotWakeWaitsForTheMorning(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.err = func(at time.Duration) error {
		if h := at.Hours(); h > 4 && h < 5 { // midnight
			return sensor.ErrAbsent
		}
		return nil
	}
	k.during(6*time.Hour, nil) // no run: no dough could be missed
	_, all := k.alerts(0)
	require.Len(t, all, 2)
	for _, a := range all {
		assert.Equal(t, time.Date(2026, 3, 7, 7, 0, 0, 0, time.UTC), a.NotBefore, a.Kind)
	}
}

func TestBell_AFaultWakesOnceTheDoughCouldBeMissed(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.err = func(at time.Duration) error {
		if at > 6*time.Hour {
			return sensor.ErrBus
		}
		return nil
	}
	k.during(7*time.Hour, k.start)
	_, all := k.alerts(0)
	faults := of(all, rise.AlertFault)
	require.Len(t, faults, 2)
	assert.Equal(t, rise.LevelWarning, faults[0].Level)
	assert.InDelta(t, 5, (faults[0].Issued.At - 6*time.Hour).Minutes(), 1)
	assert.Equal(t, rise.LevelWakes, faults[1].Level)
	assert.InDelta(t, 15, (faults[1].Issued.At - 6*time.Hour).Minutes(), 1)
	assert.Equal(t, faults[0].ID, faults[1].Repeats)
}

func TestBell_OneMessageForABusThatSeveralStationsShare(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.err = func(at time.Duration) error {
		if at < 2*time.Hour {
			return sensor.ErrBus
		}
		return nil
	}
	station := func(name, bus string) watch.Station {
		return watch.Station{Name: name, Bus: bus, Ranger: k, Every: tick, Ranges: 20}
	}
	k.stations = []watch.Station{station("left", "I2C1"), station("right", "I2C1"), station("other", "I2C3")}
	k.during(3*time.Hour, nil)
	db := k.open()
	defer db.Close()
	count := map[rise.AlertKind]int{}
	for _, s := range k.stations {
		all, err := db.Alerts(s.Name, 0)
		require.NoError(t, err)
		for _, a := range all {
			count[a.Kind]++
			if a.Kind == rise.AlertFault && s.Name != "other" {
				assert.Regexp(t, "The same goes for (left|right)", a.Text)
			}
		}
	}
	assert.Equal(t, map[rise.AlertKind]int{rise.AlertFault: 2, rise.AlertRestored: 2}, count)
}

func TestBell_BedtimeSaysHowTheNightLooks(t *testing.T) {
	t.Parallel()
	k := newKitchen(t) // 20:00
	k.level = doubling
	k.during(3*time.Hour, k.start)
	k.during(2*time.Hour, nil)
	_, all := k.alerts(1)
	told := of(all, rise.AlertBedtime)
	require.NotEmpty(t, told)
	assert.Equal(t, rise.LevelQuiet, told[0].Level)
	assert.WithinDuration(t, time.Date(2026, 3, 6, 21, 30, 0, 0, time.UTC), told[0].Issued.Wall, time.Minute)
	assert.Zero(t, told[0].NotBefore, "in the evening, not in the morning")
	assert.Contains(t, told[0].Text, "NOT armed")
	for _, a := range told[1:] {
		assert.Less(t, a.Issued.Wall.Hour(), 22, "never after the quiet hours began")
	}
}

func TestCanWake_OnceATestWasAnswered(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.during(time.Minute, func(_ *store.DB, w *watch.Watch) {
		ok, why := w.CanWake()
		assert.False(t, ok)
		assert.Contains(t, why, "nightjar notify test")
		_, err := w.Test()
		require.NoError(t, err)
		ok, _ = w.CanWake()
		assert.False(t, ok, "sent is not answered")
	})
	k.during(time.Minute, func(db *store.DB, w *watch.Watch) {
		k.act(db, w, rise.Action{Kind: rise.ActionAck})
		ok, why := w.CanWake()
		assert.True(t, ok, why)
	})
	k.routes = map[string]string{"mqtt": "another broker"}
	k.during(time.Minute, func(_ *store.DB, w *watch.Watch) {
		ok, why := w.CanWake()
		assert.False(t, ok)
		assert.Contains(t, why, "set up anew")
	})
}

func TestBell_FogThatDoesNotClearIsAFault(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	from, to := 4*time.Hour, 6*time.Hour
	k.level = doubling
	k.see = func(at time.Duration, b *rise.Burst) {
		b.SignalMcps, b.SigmaMM = rise.Known(20), rise.Known(2)
		if fog := min(1, (at-from).Hours()/0.2); at > from && at < to { // over twelve minutes the window shortens the range
			mm, _ := b.RangeMM.Get()
			b.RangeMM = rise.Known(mm - 20*fog)
			b.SignalMcps, b.SigmaMM = rise.Known(20-10*fog), rise.Known(2+5*fog)
		}
	}
	k.during(7*time.Hour, k.start)
	_, all := k.alerts(0)
	faults := of(all, rise.AlertFault)
	require.NotEmpty(t, faults, "%v", all)
	assert.Contains(t, faults[0].Text, "fogged or dirty")
	assert.InDelta(t, 35, (faults[0].Issued.At - from).Minutes(), 15)
	assert.Len(t, of(all, rise.AlertRestored), 1)
	_, all = k.alerts(1)
	assert.Empty(t, of(all, rise.AlertReady))
}
