package store_test

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spoilPages overwrites all pages of an open store's file but the two meta pages, as a card that dies does.
func spoilPages(t *testing.T, path string, keep func(page int) bool) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(t, err)
	for at := int64(2 * 4096); at < info.Size(); at += 4096 {
		if !keep(int(at / 4096)) {
			_, err := f.WriteAt(make([]byte, 4096), at)
			require.NoError(t, err)
		}
	}
}

func TestPagesThatGoBadWhileTheStoreIsOpen(t *testing.T) {
	t.Parallel()
	for page := range 12 {
		path := filepath.Join(t.TempDir(), "nightjar.db")
		db, err := store.Open(path, store.Options{BootID: storetest.BootID, Repair: true})
		require.NoError(t, err)
		mustStart(t, db, "sill", time.Minute)
		for i := range 3000 {
			db.Add("sill", tick(db, time.Duration(i)*30*time.Second))
		}
		require.NoError(t, db.Flush())
		spoilPages(t, path, func(p int) bool { return p != page })
		for i := 3000; i < 3100; i++ {
			db.Add("sill", tick(db, time.Duration(i)*30*time.Second))
		}
		a, fresh, err := db.Issue(rise.Alert{Kind: rise.AlertReady, Station: "sill", Run: 1, Episode: 1, Issued: storetest.At(db, time.Hour)}, []string{"mqtt"})
		require.NoError(t, err, "page %d: the daemon goes on alerting", page)
		require.True(t, fresh)
		require.NoError(t, db.Flush(), "page %d", page)
		n := len(all(t, db, "sill"))
		require.GreaterOrEqual(t, n, 100, "page %d: what came after is there", page)
		require.True(t, n == 3100 || db.Repaired() != nil || len(db.Damaged()) > 0, "page %d: what is lost is told", page)
		require.NoError(t, db.Close())
		db, err = store.Open(path, store.Options{BootID: storetest.BootID, Repair: true})
		require.NoError(t, err)
		ds, err := db.Pending("mqtt", 9)
		require.NoError(t, err)
		require.Len(t, ds, 1, "page %d", page)
		require.Equal(t, a.ID, ds[0].Alert.ID)
		require.NoError(t, db.Close())
	}
}

func TestAFileCutShortWhileTheStoreIsOpen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db, err := store.Open(path, store.Options{BootID: storetest.BootID})
	require.NoError(t, err)
	for i := range 3000 {
		db.Add("sill", tick(db, time.Duration(i)*30*time.Second))
	}
	mustStart(t, db, "sill", time.Minute)
	require.NoError(t, os.Truncate(path, 8192))
	_, err = db.Runs()
	require.ErrorIs(t, err, store.ErrDamaged, "a fault in reading the mapped file is an error, not the end of the process")
	for _, err := range db.Readings("sill", rise.Stamp{}, store.LastStamp) {
		require.ErrorIs(t, err, store.ErrDamaged)
	}
	_, err = db.PutJar(rise.Jar{Name: "weck"})
	require.ErrorIs(t, err, store.ErrDamaged)
	db.Add("sill", tick(db, time.Hour*100))
	assert.Equal(t, 1, db.Unflushed())
	_ = db.Close()
	_, err = store.Open(path, store.Options{Timeout: 100 * time.Millisecond})
	require.ErrorIs(t, err, store.ErrDamaged, "and not locked")
}

func TestBackupWhileReadingsComeIn(t *testing.T) {
	db := storetest.Open(t)
	dir := t.TempDir()
	var wg sync.WaitGroup
	stop := make(chan struct{})
	wg.Go(func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
			}
			db.Add("sill", tick(db, time.Duration(i)*30*time.Second))
			if i%50 == 0 {
				assert.NoError(t, db.Flush())
			}
		}
	})
	path := filepath.Join(dir, "copy.db")
	last := 0
	for range 5 {
		require.NoError(t, db.Backup(path))
		storetest.Check(t, path)
		copied := mustOpen(t, path, "elsewhere")
		n := 0
		for r, err := range copied.Readings("sill", rise.Stamp{}, store.LastStamp) {
			require.NoError(t, err)
			require.Equal(t, time.Duration(n)*30*time.Second, r.At, "without a gap")
			n++
		}
		require.GreaterOrEqual(t, n, last)
		last = n
		require.NoError(t, copied.Close())
	}
	close(stop)
	wg.Wait()
	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	require.NoError(t, err)
	assert.Empty(t, left, "nothing half is left behind")
	require.Error(t, db.Backup(filepath.Join(dir, "no", "such", "folder.db")))
}
