package store_test

import (
	"path/filepath"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fill makes a store whose disk takes nothing more, and a function that makes room again.
func fill(t *testing.T, path string) (*store.DB, func()) {
	t.Helper()
	db := mustOpen(t, path, storetest.BootID)
	mustStart(t, db, "sill", time.Minute)
	room := db.LimitSize(1)
	for i := range 5000 {
		db.Add("sill", tick(db, time.Duration(i)*time.Minute))
	}
	require.ErrorIs(t, db.Flush(), store.ErrNotWritten)
	return db, room
}

func TestAFullDiskDoesNotKeepAnAlertBack(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db, room := fill(t, path)
	ready := rise.Alert{Kind: rise.AlertReady, Station: "sill", Run: 1, Episode: 1, Issued: storetest.At(db, time.Hour)}
	past := ready
	past.Kind, past.Issued = rise.AlertPast, storetest.At(db, time.Hour+time.Minute)

	a, fresh, err := db.Issue(ready, []string{"mqtt", "push"})
	require.NoError(t, err)
	require.True(t, fresh)
	b, fresh, err := db.Issue(past, []string{"mqtt"})
	require.NoError(t, err)
	require.True(t, fresh)
	require.NotEqual(t, a.ID, b.ID)
	again, fresh, err := db.Issue(ready, []string{"mqtt", "push"})
	require.NoError(t, err)
	require.False(t, fresh)
	require.Equal(t, a, again)

	ds, err := db.Pending("mqtt", 10)
	require.NoError(t, err)
	require.Len(t, ds, 2)
	assert.Equal(t, a, ds[0].Alert)
	require.NoError(t, db.Settle("mqtt", a.ID, rise.DeliveryDelivered, 1, ""))
	require.ErrorIs(t, db.Settle("push", b.ID, rise.DeliveryDelivered, 1, ""), store.ErrNotFound)
	ds, err = db.Pending("mqtt", 10)
	require.NoError(t, err)
	require.Len(t, ds, 1, "it is not sent again and again")
	active, err := db.Active("sill")
	require.NoError(t, err)
	require.Len(t, active, 2)

	_, _, err = db.Act(rise.Action{Kind: rise.ActionAck, Station: "sill", Alert: b.ID, At: storetest.At(db, 2*time.Hour)})
	require.ErrorIs(t, err, store.ErrNotWritten, "an answer would say that it is stored")
	active, err = db.Active("sill")
	require.NoError(t, err)
	require.Len(t, active, 1, "but it is silent")

	room()
	require.NoError(t, db.Flush())
	require.NoError(t, db.Close())
	db = storetest.OpenAt(t, path, store.Options{})
	kept, err := db.Alerts("sill", 1)
	require.NoError(t, err)
	require.Len(t, kept, 2)
	assert.Equal(t, a, kept[0])
	assert.False(t, kept[1].Acked.IsZero())
	for route, want := range map[string][]string{"mqtt": {b.ID}, "push": {a.ID}} {
		ds, err := db.Pending(route, 10)
		require.NoError(t, err)
		var ids []string
		for _, d := range ds {
			ids = append(ids, d.Alert.ID)
		}
		assert.Equal(t, want, ids, route)
	}
	assert.Len(t, all(t, db, "sill"), 5000)
}

func TestAStoredAlertIsSettledThoughTheDiskIsFull(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db := mustOpen(t, path, storetest.BootID)
	a, _, err := db.Issue(rise.Alert{Kind: rise.AlertFault, Station: "sill", Episode: 1, Issued: storetest.At(db, time.Hour)}, []string{"mqtt"})
	require.NoError(t, err)
	require.NoError(t, db.Close())
	db, room := fill(t, path)
	require.NoError(t, db.Settle("mqtt", a.ID, rise.DeliveryDelivered, 1, ""))
	ds, err := db.Pending("mqtt", 10)
	require.NoError(t, err)
	assert.Empty(t, ds)
	room()
	require.NoError(t, db.Close())
	db = storetest.OpenAt(t, path, store.Options{})
	ds, err = db.Deliveries(a.ID)
	require.NoError(t, err)
	require.Len(t, ds, 1)
	assert.Equal(t, rise.DeliveryDelivered, ds[0].State)
}
