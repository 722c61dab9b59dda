package store_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func dough(station string) *rise.Run {
	return &rise.Run{Kind: rise.RunDough, Station: station, Target: 2}
}

func mustStart(t *testing.T, db *store.DB, station string, at time.Duration) rise.Run {
	t.Helper()
	_, run, err := db.Act(rise.Action{Kind: rise.ActionStart, Station: station, Start: dough(station), At: storetest.At(db, at)})
	require.NoError(t, err)
	return *run
}

func tick(db *store.DB, at time.Duration) rise.Reading {
	r := rise.Reading{Stamp: rise.Stamp{Boot: db.Boot(), At: at}}
	r.RangeMM, r.Valid, r.Of = rise.Known(80+at.Hours()), 20, 20
	r.Statuses[rise.StatusGood] = 20
	return r
}

func all(t *testing.T, db *store.DB, station string) []rise.Reading {
	t.Helper()
	var rs []rise.Reading
	for r, err := range db.Readings(station, rise.Stamp{}, store.LastStamp) {
		require.NoError(t, err)
		rs = append(rs, r)
	}
	return rs
}

func TestReadingsAreSeenBeforeAndAfterTheyAreCommitted(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db, err := store.Open(path, store.Options{BootID: storetest.BootID})
	require.NoError(t, err)
	for i := range 2000 {
		db.Add("sill", tick(db, time.Duration(i)*30*time.Second))
		if i%7 == 0 {
			require.NoError(t, db.Flush())
		}
	}
	require.Len(t, all(t, db, "sill"), 2000)
	assert.Equal(t, (2000-1)%7, db.Unflushed())
	require.NoError(t, db.Close())

	db = storetest.OpenAt(t, path, store.Options{BootID: "another"})
	assert.EqualValues(t, 2, db.Boot())
	got := all(t, db, "sill")
	require.Len(t, got, 2000)
	for i, r := range got {
		want := tick(db, time.Duration(i)*30*time.Second)
		want.Boot, want.Quality = 1, rise.TimeUnknown
		require.Equal(t, want.Rounded(), r)
	}
	last, ok, err := db.LastReading("sill")
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, got[1999], last)
}

func TestARunFromStartToEnd(t *testing.T) {
	db := storetest.Open(t)
	require.NoError(t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: db.Boot()}, Wall: storetest.At(db, 0).Wall, Synced: true}))
	jar, err := db.PutJar(rise.Jar{Name: "weck", FloorMM: 140, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 80}})
	require.NoError(t, err)
	assert.Equal(t, 1, jar.Version)
	start := rise.Action{
		ID: "a1", Kind: rise.ActionStart, Station: "sill", At: storetest.At(db, time.Hour),
		When:  rise.Moment{Wall: storetest.At(db, 30*time.Minute).Wall},
		Start: &rise.Run{Kind: rise.RunDough, Target: 2, Jar: "weck", JarVersion: 1},
	}
	done, run, err := db.Act(start)
	require.NoError(t, err)
	assert.Equal(t, 1, run.Number)
	assert.Equal(t, 30*time.Minute, run.Started.At)
	assert.True(t, run.Started.Typed)

	again, run2, err := db.Act(start)
	require.NoError(t, err)
	assert.Equal(t, done, again)
	assert.Equal(t, run, run2)

	start.ID = "a2"
	_, _, err = db.Act(start)
	require.ErrorIs(t, err, store.ErrRunOpen)

	for i := range 240 {
		db.Add("sill", tick(db, time.Duration(i)*time.Minute))
	}
	_, _, err = db.Act(rise.Action{ID: "n1", Kind: rise.ActionNote, Station: "sill", Text: "folded", At: storetest.At(db, 2*time.Hour)})
	require.NoError(t, err)
	_, run, err = db.Act(rise.Action{ID: "e1", Kind: rise.ActionEnd, Station: "sill", At: storetest.At(db, 3*time.Hour)})
	require.NoError(t, err)
	assert.Equal(t, "end", run.EndReason)
	_, open, err := db.OpenRun("sill")
	require.NoError(t, err)
	assert.False(t, open)
	_, _, err = db.Act(rise.Action{Kind: rise.ActionEnd, Run: 1, At: storetest.At(db, 4*time.Hour)})
	require.ErrorIs(t, err, store.ErrRunClosed)

	c, err := db.Case(1)
	require.NoError(t, err)
	assert.Equal(t, jar, c.Jar)
	assert.Len(t, c.Readings, 151, "from 00:30 to 03:00, both included")
	assert.Len(t, c.Actions, 3)
	assert.Equal(t, rise.TimeSynced, c.Readings[0].Quality)
	assert.Equal(t, run.Started.Wall, c.Readings[0].Time)
}

func TestAlertIsIssuedOnceAndDelivered(t *testing.T) {
	db := storetest.Open(t)
	mustStart(t, db, "sill", time.Minute)
	ready := rise.Alert{Kind: rise.AlertReady, Level: rise.LevelWakes, Station: "sill", Run: 1, Episode: 1, Issued: storetest.At(db, time.Hour), Text: "doubled"}
	a, fresh, err := db.Issue(ready, []string{"mqtt", "push"})
	require.NoError(t, err)
	assert.True(t, fresh)
	assert.Equal(t, "nightjar-7f3a9c1e-3600000", a.ID)
	b, fresh, err := db.Issue(ready, []string{"mqtt"})
	require.NoError(t, err)
	assert.False(t, fresh)
	assert.Equal(t, a, b)

	ds, err := db.Pending("mqtt", 10)
	require.NoError(t, err)
	require.Len(t, ds, 1)
	assert.Equal(t, a, ds[0].Alert)
	require.NoError(t, db.Settle("mqtt", a.ID, rise.DeliveryPending, 3, "no broker"))
	require.NoError(t, db.Settle("mqtt", a.ID, rise.DeliveryDelivered, 4, ""))
	require.NoError(t, db.Settle("mqtt", a.ID, rise.DeliveryDelivered, 4, ""))
	require.ErrorIs(t, db.Settle("fax", a.ID, rise.DeliveryDelivered, 1, ""), store.ErrNotFound)
	ds, err = db.Deliveries(a.ID)
	require.NoError(t, err)
	require.Len(t, ds, 2)

	active, err := db.Active("sill")
	require.NoError(t, err)
	require.Len(t, active, 1)
	_, _, err = db.Act(rise.Action{Kind: rise.ActionAck, Station: "sill", Alert: a.ID, At: storetest.At(db, 2*time.Hour)})
	require.NoError(t, err)
	active, err = db.Active("sill")
	require.NoError(t, err)
	assert.Empty(t, active)
	kept, err := db.Alerts("sill", 1)
	require.NoError(t, err)
	require.Len(t, kept, 1)
	assert.Equal(t, 2*time.Hour, kept[0].Acked.At)
}

func TestBackupIsAWholeStore(t *testing.T) {
	db := storetest.Open(t)
	mustStart(t, db, "sill", time.Minute)
	db.Add("sill", tick(db, time.Hour))
	path := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, db.Backup(path))
	storetest.Check(t, path)
	copied := storetest.OpenAt(t, path, store.Options{})
	assert.Len(t, all(t, copied, "sill"), 1)
	_, err := copied.Run(1)
	require.NoError(t, err)
}

func TestOpenRefusesWhatIsNoStore(t *testing.T) {
	for name, content := range map[string][]byte{"empty": {}, "garbage": make([]byte, 20000), "text": []byte("hello")} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "nightjar.db")
			require.NoError(t, os.WriteFile(path, content, 0o600))
			_, err := store.Open(path, store.Options{})
			require.ErrorIs(t, err, store.ErrDamaged)
			var h *store.Hint
			require.ErrorAs(t, err, &h)
			assert.Contains(t, h.Remedy, "store check")
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Equal(t, content, after)
		})
	}
}
