package store_test

import (
	"bufio"
	"io/fs"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"
)

// childEnv names the role in which the test program was started by a test.
const childEnv = "NIGHTJAR_STORE_CHILD"

func TestMain(m *testing.M) {
	switch role, arg, _ := strings.Cut(os.Getenv(childEnv), " "); role {
	case "hold":
		holdOpen(arg)
	case "write":
		writeForEver(arg)
	default:
		os.Exit(m.Run())
	}
}

// holdOpen opens the store, says so, and keeps it until its standard input ends.
func holdOpen(path string) {
	db, err := store.Open(path, store.Options{})
	if err != nil {
		os.Stdout.WriteString(err.Error() + "\n")
		os.Exit(1)
	}
	os.Stdout.WriteString("open\n")
	_, _ = bufio.NewReader(os.Stdin).ReadByte()
	if db.Close() != nil {
		os.Exit(1)
	}
}

// child starts this test program in a role and returns its output and a function that ends it.
func child(t *testing.T, role, path string) (out *bufio.Reader, end func() error) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+role+" "+path)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	pipe, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	return bufio.NewReader(pipe), func() error {
		_ = in.Close()
		return cmd.Wait()
	}
}

func TestOpenWhileAnotherProcessHasIt(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	out, end := child(t, "hold", path)
	line, err := out.ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "open\n", line)

	for _, readOnly := range []bool{false, true} {
		_, err = store.Open(path, store.Options{Timeout: 60 * time.Millisecond, ReadOnly: readOnly})
		require.ErrorIs(t, err, store.ErrLocked)
		var h *store.Hint
		require.ErrorAs(t, err, &h)
		assert.Contains(t, h.Hint(), "nightjar watch")
	}
	_, err = store.Repair(path)
	require.ErrorIs(t, err, store.ErrLocked)

	require.NoError(t, end())
	storetest.OpenAt(t, path, store.Options{})
}

func TestOpenForReadingOnly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	_, err := store.Open(path, store.Options{ReadOnly: true})
	require.ErrorIs(t, err, fs.ErrNotExist)
	db := mustOpen(t, path, "boot-a")
	db.Add("sill", tick(db, time.Hour))
	require.NoError(t, db.Close())
	before, err := os.ReadFile(path)
	require.NoError(t, err)

	db, err = store.Open(path, store.Options{ReadOnly: true, BootID: "boot-b"})
	require.NoError(t, err)
	other, err := store.Open(path, store.Options{ReadOnly: true, BootID: "boot-a"})
	require.NoError(t, err, "several may read at once")
	assert.EqualValues(t, 0, db.Boot())
	assert.EqualValues(t, 1, other.Boot())
	assert.Len(t, all(t, db, "sill"), 1)
	_, _, err = db.Act(rise.Action{Kind: rise.ActionNote, Station: "sill"})
	require.ErrorIs(t, err, store.ErrReadOnly)
	require.ErrorIs(t, db.Anchor(rise.Anchor{}), store.ErrReadOnly)
	require.NoError(t, db.Close())
	require.NoError(t, other.Close())
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

func TestNewerSchemaIsRefusedUntouched(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	require.NoError(t, mustOpen(t, path, "boot-a").Close())
	b, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: time.Second})
	require.NoError(t, err)
	require.NoError(t, b.Update(func(tx *bolt.Tx) error {
		return tx.Bucket([]byte("meta")).Put([]byte("schema"), []byte{0, 0, 3, 231})
	}))
	require.NoError(t, b.Close())
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	for _, repair := range []bool{false, true} {
		_, err = store.Open(path, store.Options{Repair: repair})
		require.ErrorIs(t, err, store.ErrNewer)
		assert.Contains(t, err.Error(), "schema 999")
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, before, after)
	}
}

func TestAnotherProgramsFileIsRefusedUntouched(t *testing.T) {
	path := filepath.Join(t.TempDir(), "other.db")
	b, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: time.Second})
	require.NoError(t, err)
	require.NoError(t, b.Update(func(tx *bolt.Tx) error {
		_, err := tx.CreateBucket([]byte("mail"))
		return err
	}))
	require.NoError(t, b.Close())
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, err = store.Open(path, store.Options{Repair: true})
	require.ErrorIs(t, err, store.ErrInvalid)
	_, err = store.Repair(path)
	require.ErrorIs(t, err, store.ErrInvalid)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

func TestAStartCutOffLeavesNothingInTheWay(t *testing.T) {
	for name, left := range map[string][]byte{"empty": {}, "half": make([]byte, 5000)} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "state", "nightjar.db")
			require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
			require.NoError(t, os.WriteFile(path+".new", left, 0o600))
			storetest.OpenAt(t, path, store.Options{})
			assert.NoFileExists(t, path+".new")
		})
	}
}

func TestBootNumbersFollowTheKernelsBootID(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	var got []uint32
	for _, id := range []string{"a", "a", "b", "b", "a", "c"} {
		db := mustOpen(t, path, id)
		got = append(got, db.Boot())
		require.NoError(t, db.Close())
	}
	assert.Equal(t, []uint32{1, 1, 2, 2, 3, 4}, got, "a number is of one boot, and later ones are higher")
	db, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, db.Close())
}

func TestDeviceNameIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	for _, tt := range []struct{ given, want string }{{"", "nightjar"}, {"kitchen", "kitchen"}, {"", "kitchen"}} {
		db, err := store.Open(path, store.Options{BootID: "a", Device: tt.given})
		require.NoError(t, err)
		assert.Equal(t, tt.want, db.Device())
		require.NoError(t, db.Close())
	}
}

func TestAnchorsAreThinnedAndKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db := mustOpen(t, path, "a")
	cold := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)
	day := time.Date(2026, 5, 1, 22, 0, 0, 0, time.UTC)
	anchor := func(at time.Duration, wall time.Time, synced bool) {
		require.NoError(t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: 1, At: at}, Wall: wall, Synced: synced}))
	}
	anchor(20*time.Second, cold.Add(20*time.Second), false)
	db.Add("sill", tick(db, 30*time.Second))
	require.NoError(t, db.Flush())
	for h := range 9000 { // a year of hours
		at := time.Minute + time.Duration(h)*time.Hour
		anchor(at, day.Add(at), true)
	}
	require.NoError(t, db.Flush())
	r := all(t, db, "sill")[0]
	assert.Equal(t, rise.TimeSynced, r.Quality, "the clock was set later in the same boot")
	assert.Equal(t, day.Add(30*time.Second), r.Time)
	require.NoError(t, db.Close())
	report, err := store.Check(path)
	require.NoError(t, err)
	assert.LessOrEqual(t, report.Records["anchors"], 3)
	db = mustOpen(t, path, "b")
	wall, q := db.Timeline().Wall(rise.Stamp{Boot: 1, At: 9000 * time.Hour})
	assert.Equal(t, rise.TimeSynced, q)
	assert.Equal(t, day.Add(9000*time.Hour), wall)
	require.ErrorIs(t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: 1}}), store.ErrInvalid)
	require.NoError(t, db.Close())
}

func TestATypedTimeIsSettledWhenTheClockIsSet(t *testing.T) {
	db := storetest.Open(t)
	cold := time.Date(2026, 4, 30, 9, 0, 0, 0, time.UTC) // as it was when the power went
	day := time.Date(2026, 5, 1, 20, 0, 0, 0, time.UTC)  // as it is
	at := func(d time.Duration) rise.Stamp { return rise.Stamp{Boot: db.Boot(), At: d} }
	require.NoError(t, db.Anchor(rise.Anchor{Stamp: at(0), Wall: cold}))
	_, run, err := db.Act(rise.Action{
		Kind: rise.ActionStart, Start: dough("sill"), At: rise.Moment{Stamp: at(30 * time.Minute)},
		When: rise.Moment{Wall: day.Add(15 * time.Minute)}, // 20:15 by the baker's watch
	})
	require.NoError(t, err)
	assert.Equal(t, 30*time.Minute, run.Started.At, "by the cold clock it is still to come: the moment of telling")
	require.NoError(t, db.Anchor(rise.Anchor{Stamp: at(time.Hour), Wall: day.Add(time.Hour), Synced: true}))
	settled, err := db.Run(1)
	require.NoError(t, err)
	assert.Equal(t, 15*time.Minute, settled.Started.At)
	assert.Equal(t, day.Add(15*time.Minute), settled.Started.Wall, "kept as typed")
}

func TestALongExportDoesNotHoldUpTheWriter(t *testing.T) {
	t.Parallel()
	db := storetest.Open(t)
	for i := range 100_000 {
		db.Add("sill", tick(db, time.Duration(i)*time.Second))
	}
	require.NoError(t, db.Flush())
	n := 0
	for r, err := range db.Readings("sill", rise.Stamp{}, store.LastStamp) {
		require.NoError(t, err)
		if n++; n%25_000 == 0 {
			// Write much more than the file's free pages, and make it grow, while the reader is in mid-air.
			_, err := db.PutJar(rise.Jar{Name: "big", Note: strings.Repeat("x", 2<<20)})
			require.NoError(t, err)
		}
		_ = r
	}
	assert.Equal(t, 100_000, n)
}

func TestEveryCommitTakesTheReadingsWithIt(t *testing.T) {
	db := storetest.Open(t)
	db.Add("sill", tick(db, time.Minute))
	assert.Equal(t, 1, db.Unflushed())
	mustStart(t, db, "sill", time.Minute)
	assert.Equal(t, 0, db.Unflushed())
}

func TestAReadingThatCannotBeRoundedIsUnknown(t *testing.T) {
	db := storetest.Open(t)
	r := tick(db, time.Minute)
	r.RoomC = rise.Known(1e300)
	db.Add("sill", r)
	require.NoError(t, db.Flush())
	assert.False(t, all(t, db, "sill")[0].RoomC.IsKnown())
}

func TestADiskThatTakesNothingIsToldAndCaughtUp(t *testing.T) {
	t.Parallel()
	var log strings.Builder
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db, err := store.Open(path, store.Options{BootID: "a", Log: slog.New(slog.NewTextHandler(&log, nil))})
	require.NoError(t, err)
	restore := db.LimitSize(64 << 10)
	var failed int
	for i := range 60_000 {
		db.Add("sill", tick(db, time.Duration(i)*30*time.Second))
		if i%2000 == 0 && db.Flush() != nil {
			failed++
		}
	}
	assert.Greater(t, failed, 10)
	assert.LessOrEqual(t, strings.Count(log.String(), "does not take"), 2, "a change is told, not every try")
	assert.Len(t, all(t, db, "sill"), 60_000, "watching goes on in memory")
	restore()
	require.NoError(t, db.Flush())
	assert.Equal(t, strings.Count(log.String(), "does not take"), strings.Count(log.String(), "takes what is written again"))
	assert.Len(t, all(t, db, "sill"), 60_000)
	require.NoError(t, db.Close())
	storetest.Check(t, path)
}
