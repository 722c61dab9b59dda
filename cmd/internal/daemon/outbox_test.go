package daemon

import (
	"path/filepath"
	"testing"

	"nightjar/notify"
	"nightjar/notify/notifytest"
	"nightjar/rise"
	"nightjar/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The store and the senders meet here only: what a sender expects of an outbox, the store does.
func TestTheStoreIsAnOutbox(t *testing.T) {
	notifytest.Suite(t, func(t *testing.T) (notify.Outbox, func(rise.Alert) (rise.Alert, error)) {
		db, err := store.Open(filepath.Join(t.TempDir(), "nightjar.db"), store.Options{BootID: "2d9b1c34-77aa-4b0e-8c15-90e2f6d1a0b7", Device: "attic"})
		require.NoError(t, err)
		t.Cleanup(func() { assert.NoError(t, db.Close()) })
		return db, func(a rise.Alert) (rise.Alert, error) {
			a, fresh, err := db.Issue(a, []string{"mqtt", "push"})
			assert.True(t, fresh)
			return a, err
		}
	})
}
