package notify_test

import (
	"testing"
	"time"

	"nightjar/notify"
	"nightjar/notify/notifytest"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func pending(as ...rise.Alert) (ds []rise.Delivery) {
	for _, a := range as {
		ds = append(ds, rise.Delivery{Alert: a, Route: "mqtt", State: rise.DeliveryPending})
	}
	return ds
}

// alert is the n-th alert, of a kind, of run 14 at the station main.
func alert(n int, kind rise.AlertKind) rise.Alert {
	a := notifytest.Alert("main", n)
	a.Kind, a.Run = kind, 14
	return a
}

func TestTriage(t *testing.T) {
	now := alert(0, rise.AlertReady).Issued.Wall
	ring := alert(1, rise.AlertReady)
	second := alert(2, rise.AlertReady)
	second.Repeats, second.N = ring.ID, 2
	third := alert(3, rise.AlertReady)
	third.Repeats, third.N = ring.ID, 3
	acked := alert(1, rise.AlertReady)
	acked.Acked = rise.Moment{Stamp: rise.Stamp{Boot: 1, At: time.Minute}, Wall: now}
	elsewhere := alert(2, rise.AlertReady)
	elsewhere.Station = "crate"
	otherRun := alert(2, rise.AlertReady)
	otherRun.Run = 15
	old := alert(1, rise.AlertReady)
	old.Issued.Wall, old.Quality = now.Add(-25*time.Hour), rise.TimeSynced
	doubtful := old
	doubtful.Quality = rise.TimeEstimated

	test := alert(1, rise.AlertTest)
	test.Issued.Wall, test.Quality = now.Add(-2*time.Hour), rise.TimeSynced

	for _, tt := range []struct {
		name    string
		pending []rise.Delivery
		rest    []int // indices of what is still worth sending
	}{
		{"nothing", nil, nil},
		{"soon alone", pending(alert(1, rise.AlertSoon)), []int{0}},
		{"soon before ready", pending(alert(1, rise.AlertSoon), alert(2, rise.AlertReady)), []int{1}},
		{"soon before falling", pending(alert(1, rise.AlertSoon), alert(2, rise.AlertFalling)), []int{1}},
		{"soon before slow", pending(alert(1, rise.AlertSoon), alert(2, rise.AlertSlow)), []int{0, 1}},
		{"soon before ready elsewhere", pending(alert(1, rise.AlertSoon), elsewhere), []int{0, 1}},
		{"soon before ready of another run", pending(alert(1, rise.AlertSoon), otherRun), []int{0, 1}},
		{"ready is never overtaken by past", pending(alert(1, rise.AlertReady), alert(2, rise.AlertPast)), []int{0, 1}},
		{"of three rings the last", pending(ring, second, third), []int{2}},
		{"fault and away before restored", pending(alert(1, rise.AlertFault), alert(2, rise.AlertAway), alert(3, rise.AlertRestored)), []int{2}},
		{"restored before a new fault", pending(alert(1, rise.AlertRestored), alert(2, rise.AlertFault)), []int{0, 1}},
		{"of two bedtime messages the newer", pending(alert(1, rise.AlertBedtime), alert(2, rise.AlertBedtime)), []int{1}},
		{"a bedtime message once it is ready", pending(alert(1, rise.AlertBedtime), alert(2, rise.AlertReady)), []int{1}},
		{"acknowledged", pending(acked, alert(2, rise.AlertPast)), []int{1}},
		{"a day old", pending(old), nil},
		{"a test of two hours ago", pending(test), nil},
		{"a day old by a clock that was not set", pending(doubtful), []int{0}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			worthless, rest := notify.Triage(tt.pending, now)
			var want []rise.Delivery
			for _, i := range tt.rest {
				want = append(want, tt.pending[i])
			}
			assert.Equal(t, want, rest)
			assert.Len(t, worthless, len(tt.pending)-len(tt.rest))
			for _, w := range worthless {
				assert.NotEmpty(t, w.Why)
				assert.Equal(t, w.Alert.Acked.IsZero(), w.State == rise.DeliveryExpired)
			}
		})
	}
}

func TestTriage_WhatWaitsForTheMorningIsNeitherSentNorGivenUp(t *testing.T) {
	t.Parallel()
	evening := time.Date(2026, 3, 6, 23, 0, 0, 0, time.UTC)
	morning := evening.Add(8 * time.Hour)
	cold := rise.Alert{ID: "d-00000000-1", Kind: rise.AlertCold, Station: "main", Quality: rise.TimeSynced, Issued: rise.Moment{Wall: evening}, NotBefore: morning}
	ready := rise.Alert{ID: "d-00000000-2", Kind: rise.AlertReady, Station: "main", Quality: rise.TimeSynced, Issued: rise.Moment{Wall: evening}}
	pending := []rise.Delivery{{Alert: cold}, {Alert: ready}}

	worthless, rest := notify.Triage(pending, evening)
	assert.Empty(t, worthless)
	assert.Equal(t, pending[1:], rest)
	worthless, rest = notify.Triage(pending, morning)
	assert.Empty(t, worthless)
	assert.Equal(t, pending, rest)
	pending[0].Alert.Acked = rise.Moment{Wall: evening}
	worthless, _ = notify.Triage(pending, evening)
	require.Len(t, worthless, 1, "answered meanwhile: not told at all")
}
