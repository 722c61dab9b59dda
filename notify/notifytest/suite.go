package notifytest

import (
	"sync"
	"testing"

	"nightjar/notify"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Suite is what every outbox must do. open returns an empty outbox with the routes "mqtt" and "push", and a function
// that issues an alert into it and returns the alert as stored, under the id that the outbox gave it.
func Suite(t *testing.T, open func(t *testing.T) (notify.Outbox, func(rise.Alert) (rise.Alert, error))) {
	fill := func(t *testing.T, n int) (notify.Outbox, []string) {
		o, issue := open(t)
		var ids []string
		for i := range n {
			a, err := issue(Alert("main", i))
			require.NoError(t, err)
			ids = append(ids, a.ID)
		}
		return o, ids
	}
	pending := func(t *testing.T, o notify.Outbox, route string, n int) []string {
		t.Helper()
		ds, err := o.Pending(route, n)
		require.NoError(t, err)
		return IDs(ds)
	}
	t.Run("empty", func(t *testing.T) {
		o, _ := open(t)
		assert.Empty(t, pending(t, o, "mqtt", 10))
	})
	t.Run("oldest first, at most n", func(t *testing.T) {
		o, ids := fill(t, 12)
		assert.Equal(t, ids, pending(t, o, "mqtt", 100))
		assert.Equal(t, ids[:5], pending(t, o, "mqtt", 5))
	})
	t.Run("a delivery is whole", func(t *testing.T) {
		o, ids := fill(t, 1)
		ds, err := o.Pending("push", 1)
		require.NoError(t, err)
		require.Len(t, ds, 1)
		want := Alert("main", 0)
		assert.Equal(t, "push", ds[0].Route)
		assert.Equal(t, rise.DeliveryPending, ds[0].State)
		assert.Equal(t, ids[0], ds[0].Alert.ID)
		assert.Equal(t, want.Kind, ds[0].Alert.Kind)
		assert.Equal(t, want.Station, ds[0].Alert.Station)
		assert.Equal(t, want.Text, ds[0].Alert.Text)
	})
	t.Run("settled is gone from its route only", func(t *testing.T) {
		o, ids := fill(t, 3)
		require.NoError(t, o.Settle("mqtt", ids[1], rise.DeliveryDelivered, 1, ""))
		assert.Equal(t, []string{ids[0], ids[2]}, pending(t, o, "mqtt", 10))
		assert.Equal(t, ids, pending(t, o, "push", 10))
		require.NoError(t, o.Settle("mqtt", ids[0], rise.DeliveryExpired, 2, "overtaken"))
		assert.Equal(t, ids[2:], pending(t, o, "mqtt", 10))
	})
	t.Run("settling again changes nothing", func(t *testing.T) {
		o, ids := fill(t, 2)
		for range 3 {
			require.NoError(t, o.Settle("mqtt", ids[0], rise.DeliveryDelivered, 1, ""))
		}
		assert.Equal(t, ids[1:], pending(t, o, "mqtt", 10))
	})
	t.Run("an unknown route has nothing pending", func(t *testing.T) {
		o, _ := fill(t, 2)
		assert.Empty(t, pending(t, o, "pigeon", 10))
	})
	t.Run("from several goroutines", func(t *testing.T) {
		o, ids := fill(t, 20)
		var wg sync.WaitGroup
		for _, route := range []string{"mqtt", "push"} {
			for _, id := range ids {
				wg.Go(func() { assert.NoError(t, o.Settle(route, id, rise.DeliveryDelivered, 1, "")) })
			}
		}
		wg.Wait()
		assert.Empty(t, pending(t, o, "mqtt", 100))
		assert.Empty(t, pending(t, o, "push", 100))
	})
}
