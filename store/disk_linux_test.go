package store_test

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// smallDisk is a file system of its own, in memory.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Skip("mounting a small file system takes root:", err)
	}
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(dir, 0)) })
	return dir
}

// fillUp takes all the room that is left.
func fillUp(t *testing.T, dir string) (filler string) {
	t.Helper()
	filler = filepath.Join(dir, "filler")
	f, err := os.Create(filler)
	require.NoError(t, err)
	defer f.Close()
	for size := 64 << 10; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
	return filler
}

func TestARealDiskThatFillsUp(t *testing.T) {
	dir := smallDisk(t, "1m")
	path := filepath.Join(dir, "nightjar.db")
	db, err := store.Open(path, store.Options{BootID: storetest.BootID})
	require.NoError(t, err)
	mustStart(t, db, "sill", time.Minute)
	filler := fillUp(t, dir)
	refused := 0
	for i := range 20_000 {
		db.Add("sill", tick(db, time.Duration(i)*time.Minute))
		if i%1000 != 999 {
			continue
		}
		if err := db.Flush(); err != nil {
			refused++
			require.ErrorIs(t, err, store.ErrNotWritten)
			require.ErrorIs(t, err, syscall.ENOSPC)
		}
	}
	require.Positive(t, refused)
	_, fresh, err := db.Issue(rise.Alert{Kind: rise.AlertReady, Station: "sill", Run: 1, Episode: 1, Issued: storetest.At(db, time.Hour)}, []string{"mqtt"})
	require.NoError(t, err)
	require.True(t, fresh)
	require.Len(t, all(t, db, "sill"), 20_000)

	require.NoError(t, os.Remove(filler))
	require.NoError(t, db.Flush())
	require.NoError(t, db.Close())
	storetest.Check(t, path)
	db, err = store.Open(path, store.Options{BootID: storetest.BootID})
	require.NoError(t, err)
	require.Len(t, all(t, db, "sill"), 20_000)
	ds, err := db.Pending("mqtt", 5)
	require.NoError(t, err)
	require.Len(t, ds, 1)
	require.NoError(t, db.Close())
}

func TestADiskThatIsFullAtTheFirstWrite(t *testing.T) {
	dir := smallDisk(t, "64k")
	filler := fillUp(t, dir)
	path := filepath.Join(dir, "nightjar.db")
	_, err := store.Open(path, store.Options{})
	require.ErrorIs(t, err, syscall.ENOSPC)
	var h interface{ Hint() string }
	require.ErrorAs(t, err, &h)
	assert.Contains(t, h.Hint(), "Make room")
	assert.NoFileExists(t, path)
	require.NoError(t, os.Remove(filler))
	db, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, db.Close())
}

func TestADiskForReadingOnly(t *testing.T) {
	dir := smallDisk(t, "1m")
	path := filepath.Join(dir, "nightjar.db")
	require.NoError(t, mustOpen(t, path, storetest.BootID).Close())
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
	_, err := store.Open(path, store.Options{})
	require.ErrorIs(t, err, syscall.EROFS)
	var h interface{ Hint() string }
	require.ErrorAs(t, err, &h)
	assert.Contains(t, h.Hint(), "for writing")
	db, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	require.NoError(t, db.Close())
}

// written is what this process has had written to disks, by the kernel's count.
func written(t testing.TB) int64 {
	b, err := os.ReadFile("/proc/self/io")
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(b), "write_bytes: ")
	require.True(t, ok)
	line, _, _ := strings.Cut(rest, "\n")
	n, err := strconv.ParseInt(line, 10, 64)
	require.NoError(t, err)
	return n
}

// TestWriteBudget measures what a day of one station costs the card at most: what the process dirties by the kernel's
// count, which takes whole folios where bbolt writes pages of 4 kB. On a disk of its own (ext4 on a loop device, Linux
// 6.18) the same day reached the device as 24 kB a commit, journal included: 17 MB for 720 commits.
func TestWriteBudget(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	hours := 2
	if slow {
		hours = 24
	}
	db, err := store.Open(path, store.Options{BootID: storetest.BootID})
	require.NoError(t, err)
	k := newKitchen(1, db.Boot())
	commits := 0
	before := written(t)
	for i := range hours * 120 {
		db.Add("sill", k.next())
		if i%4 == 3 { // every 2 min, as during a run
			require.NoError(t, db.Flush())
			commits++
		}
	}
	bytes := written(t) - before
	require.NoError(t, db.Close())
	t.Logf("%d commits: %d bytes, %.1f kB a commit, %.1f MB a day", commits, bytes, float64(bytes)/float64(commits)/1e3,
		float64(bytes)*24/float64(hours)/1e6)
	if bytes == 0 {
		t.Skip("the kernel counts nothing written here (a file system in memory)")
	}
	assert.Less(t, bytes/int64(commits), int64(48_000), "a commit")
}
