package store_test

import (
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestVersionsStayAsTheyWere(t *testing.T) {
	db := storetest.Open(t)
	for _, mm := range []float64{140, 141, 142} {
		_, err := db.PutJar(rise.Jar{Name: "weck", FloorMM: mm})
		require.NoError(t, err)
	}
	for version, mm := range map[int]float64{0: 142, 1: 140, 2: 141, 3: 142} {
		j, err := db.Jar("weck", version)
		require.NoError(t, err)
		assert.InDelta(t, mm, j.FloorMM, 0)
	}
	_, err := db.Jar("weck", 4)
	require.ErrorIs(t, err, store.ErrNotFound)
	_, err = db.Jar("mug", 0)
	require.ErrorIs(t, err, store.ErrNotFound)
	var h interface{ Hint() string }
	require.ErrorAs(t, err, &h)
	assert.Contains(t, h.Hint(), "jars list")
	_, err = db.PutJar(rise.Jar{})
	require.ErrorIs(t, err, store.ErrInvalid)

	v, err := db.PutStarter("liese", json.RawMessage(`{"flour":"rye"}`))
	require.NoError(t, err)
	assert.Equal(t, 1, v)
	v, err = db.PutRecipe("loaf", json.RawMessage(`{"water":70}`))
	require.NoError(t, err)
	assert.Equal(t, 1, v)
	d, err := db.Recipe("loaf", 0)
	require.NoError(t, err)
	assert.JSONEq(t, `{"water":70}`, string(d.Body))
	starters, err := db.Starters()
	require.NoError(t, err)
	assert.Equal(t, []store.Document{{Name: "liese", Version: 1, Body: json.RawMessage(`{"flour":"rye"}`)}}, starters)
	recipes, err := db.Recipes()
	require.NoError(t, err)
	assert.Len(t, recipes, 1)
}

func TestFeedingAnewEndsTheFeedingBefore(t *testing.T) {
	db := storetest.Open(t)
	feed := func(at time.Duration) *rise.Run {
		_, run, err := db.Act(rise.Action{
			Kind: rise.ActionFeed, Station: "sill", At: storetest.At(db, at),
			Feed:  &rise.Feeding{Starter: "liese", SeedG: 20, FlourG: 50, WaterG: 50},
			Start: &rise.Run{Starter: "liese", Target: 2.5},
		})
		require.NoError(t, err)
		return run
	}
	first, second := feed(time.Hour), feed(13*time.Hour)
	assert.Equal(t, rise.RunStarter, first.Kind)
	assert.Equal(t, 2, second.Number)
	first2, err := db.Run(1)
	require.NoError(t, err)
	assert.Equal(t, 13*time.Hour, first2.End.At)
	_, _, err = db.Act(rise.Action{Kind: rise.ActionStart, Start: dough("sill"), At: storetest.At(db, 14*time.Hour)})
	require.ErrorIs(t, err, store.ErrRunOpen)
	_, _, err = db.Act(rise.Action{Kind: rise.ActionFeed, Feed: &rise.Feeding{Starter: "liese"}, At: storetest.At(db, 15*time.Hour)})
	require.NoError(t, err, "a starter that nobody watches is fed too")
	as, err := db.Actions(0)
	require.NoError(t, err)
	assert.Len(t, as, 1)
}

func TestARunThatReachesItsLimitEndsByItself(t *testing.T) {
	db := storetest.Open(t)
	mustStart(t, db, "sill", time.Hour)
	run, err := db.Expire(1, storetest.At(db, 25*time.Hour))
	require.NoError(t, err)
	assert.Equal(t, "limit", run.EndReason)
	again, err := db.Expire(1, storetest.At(db, 26*time.Hour))
	require.NoError(t, err)
	assert.Equal(t, run, again)
	_, err = db.Expire(7, storetest.At(db, 26*time.Hour))
	require.ErrorIs(t, err, store.ErrNotFound)
	mustStart(t, db, "sill", 27*time.Hour)
}

func TestPastIsWhatEndedBefore(t *testing.T) {
	db := storetest.Open(t)
	var runs []rise.Run
	for i := range 4 {
		r := dough("sill")
		r.Starter = []string{"liese", "liese", "karl", "liese"}[i]
		_, run, err := db.Act(rise.Action{Kind: rise.ActionStart, Start: r, At: storetest.At(db, time.Duration(10*i+1)*time.Hour)})
		require.NoError(t, err)
		if i < 3 {
			_, run, err = db.Act(rise.Action{Kind: rise.ActionEnd, Station: "sill", At: storetest.At(db, time.Duration(10*i+8)*time.Hour)})
			require.NoError(t, err)
			require.NoError(t, db.PutSummary(rise.Summary{Run: *run, Algorithm: 1}))
			require.NoError(t, db.PutSummary(rise.Summary{Run: *run, Algorithm: 2, TargetHours: rise.Known(4)}))
		}
		runs = append(runs, *run)
	}
	c, err := db.Case(4)
	require.NoError(t, err)
	require.Len(t, c.Past, 2)
	assert.Equal(t, runs[1], c.Past[1].Run)
	assert.Equal(t, 2, c.Past[1].Algorithm)
	c, err = db.Case(2)
	require.NoError(t, err)
	assert.Len(t, c.Past, 1, "nothing of later runs")
}

func TestAlertIDsAreNotUsedTwiceAfterABackupIsPutBack(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "nightjar.db")
	db := mustOpen(t, path, storetest.BootID)
	ids := map[string]bool{}
	issue := func(at time.Duration, episode int) {
		a, fresh, err := db.Issue(rise.Alert{Kind: rise.AlertFault, Station: "sill", Episode: episode, Issued: storetest.At(db, at)}, nil)
		require.NoError(t, err)
		require.True(t, fresh)
		require.False(t, ids[a.ID], "%s again", a.ID)
		ids[a.ID] = true
	}
	issue(time.Hour, 1)
	issue(time.Hour, 2)
	require.NoError(t, db.Backup(filepath.Join(dir, "backup.db")))
	issue(2*time.Hour, 3)
	require.NoError(t, db.Close())
	db = mustOpen(t, filepath.Join(dir, "backup.db"), storetest.BootID)
	issue(3*time.Hour, 3)
	issue(3*time.Hour, 4)
	require.NoError(t, db.Close())
}

func TestDoneTellsAgain(t *testing.T) {
	db := storetest.Open(t)
	want, run, err := db.Act(rise.Action{ID: "x", Kind: rise.ActionStart, Start: dough("sill"), At: storetest.At(db, time.Hour)})
	require.NoError(t, err)
	got, run2, known, err := db.Done("x")
	require.NoError(t, err)
	assert.True(t, known)
	assert.Equal(t, want, got)
	assert.Equal(t, run, run2)
	_, _, known, err = db.Done("y")
	require.NoError(t, err)
	assert.False(t, known)
}

func TestActRefusesWhatMakesNoSense(t *testing.T) {
	db := storetest.Open(t)
	mustStart(t, db, "sill", time.Hour)
	at := storetest.At(db, 2*time.Hour)
	for name, tt := range map[string]struct {
		a    rise.Action
		want error
	}{
		"unknown kind":     {rise.Action{Kind: "dance", At: at}, store.ErrInvalid},
		"start without it": {rise.Action{Kind: rise.ActionStart, Station: "shelf", At: at}, store.ErrInvalid},
		"no station":       {rise.Action{Kind: rise.ActionStart, Start: dough(""), At: at}, store.ErrInvalid},
		"end of nothing":   {rise.Action{Kind: rise.ActionEnd, Station: "shelf", At: at}, store.ErrNotFound},
		"no such run":      {rise.Action{Kind: rise.ActionNote, Run: 9, At: at}, store.ErrNotFound},
		"no such alert":    {rise.Action{Kind: rise.ActionAck, Alert: "zzz", At: at}, store.ErrNotFound},
		"end before start": {rise.Action{Kind: rise.ActionEnd, Station: "sill", At: at, When: storetest.At(db, time.Minute)}, store.ErrInvalid},
		"another boot":     {rise.Action{Kind: rise.ActionNote, At: rise.Moment{Stamp: rise.Stamp{Boot: 77}}}, store.ErrInvalid},
	} {
		t.Run(name, func(t *testing.T) {
			_, run, err := db.Act(tt.a)
			require.ErrorIs(t, err, tt.want)
			assert.Nil(t, run)
		})
	}
	as, err := db.Actions(1)
	require.NoError(t, err)
	assert.Len(t, as, 1, "nothing was done")
}

func TestDeliveriesAreToldWithTheirTime(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	now := rise.Moment{Stamp: rise.Stamp{Boot: 1, At: time.Hour}, Wall: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)}
	db := storetest.OpenAt(t, path, store.Options{Now: func() rise.Moment { return now }})
	a, _, err := db.Issue(rise.Alert{Kind: rise.AlertFault, Station: "sill", Episode: 1, Issued: now}, []string{"mqtt"})
	require.NoError(t, err)
	require.NoError(t, db.Settle("mqtt", a.ID, rise.DeliveryExpired, 9, "too late"))
	ds, err := db.Deliveries(a.ID)
	require.NoError(t, err)
	require.Len(t, ds, 1)
	assert.Equal(t, now, ds[0].Settled)
	assert.Equal(t, "too late", ds[0].Why)
	done, _, err := db.Act(rise.Action{Kind: rise.ActionNote, Station: "sill"})
	require.NoError(t, err)
	assert.Equal(t, now, done.At)
	assert.NotEmpty(t, done.ID)
}

func TestReadingsOutOfOrderFindTheirPlace(t *testing.T) {
	db := storetest.Open(t)
	for _, batch := range [][2]int{{1000, 2000}, {0, 500}, {400, 1100}, {3000, 3001}} {
		for i := batch[0]; i < batch[1]; i++ {
			db.Add("sill", tick(db, time.Duration(i)*time.Second))
		}
		require.NoError(t, db.Flush())
	}
	got := all(t, db, "sill")
	require.Len(t, got, 2001, "what is stored already is not stored twice")
	for i, r := range got[:2000] {
		require.Equal(t, time.Duration(i)*time.Second, r.At)
	}
}
