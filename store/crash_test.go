package store_test

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spoke returns reading number i of the crash tests, so that what is read can be told from what it should be.
func spoke(db *store.DB, i int) rise.Reading {
	r := tick(db, time.Duration(i)*30*time.Second)
	r.Boot, r.Valid = 1, 1+i%20
	return r.Rounded()
}

func spokes(t *testing.T, db *store.DB) int {
	t.Helper()
	n := 0
	for r, err := range db.Readings("sill", rise.Stamp{}, store.LastStamp) {
		require.NoError(t, err)
		r.Time, r.Quality = time.Time{}, ""
		require.Equal(t, spoke(db, n), r, "readings are there without a gap")
		n++
	}
	return n
}

// writeForEver is the child that is killed. Before each thing it does it says what, and after it that it is done.
func writeForEver(path string) {
	db, err := store.Open(path, store.Options{BootID: storetest.BootID})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	n := 0
	for range db.Readings("sill", rise.Stamp{}, store.LastStamp) {
		n++
	}
	rnd := rand.New(rand.NewPCG(uint64(os.Getpid()), 1))
	for i := 0; ; i++ {
		id := fmt.Sprintf("%d-%d", os.Getpid(), i)
		at := storetest.At(db, time.Duration(n)*30*time.Second)
		fmt.Println("begin", id)
		switch rnd.IntN(4) {
		case 0:
			_, _, err = db.Act(rise.Action{ID: id, Kind: rise.ActionNote, Station: "sill", At: at})
			fmt.Println("action", id)
		case 1:
			var a rise.Alert
			a, _, err = db.Issue(rise.Alert{Kind: rise.AlertFault, Station: "sill", Episode: os.Getpid()*1000 + i, Issued: at}, []string{"mqtt"})
			fmt.Println("alert", a.ID)
		case 2:
			ds, _ := db.Pending("mqtt", 1)
			for _, d := range ds {
				err = db.Settle("mqtt", d.Alert.ID, rise.DeliveryDelivered, 1, "")
				fmt.Println("settled", d.Alert.ID)
			}
		default:
			for range 1 + rnd.IntN(30) {
				db.Add("sill", spoke(db, n))
				n++
			}
			err = db.Flush()
			fmt.Println("readings", n)
		}
		if err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
	}
}

// told is what children said they had done.
type told struct {
	readings int
	actions  []string
	alerts   map[string]bool // whether settled
}

func (k *told) line(t *testing.T, s string) {
	what, arg, _ := strings.Cut(strings.TrimSpace(s), " ")
	switch what {
	case "readings":
		n, err := strconv.Atoi(arg)
		require.NoError(t, err)
		k.readings = n
	case "action":
		k.actions = append(k.actions, arg)
	case "alert":
		k.alerts[arg] = false
	case "settled":
		k.alerts[arg] = true
	case "error":
		t.Fatal(arg)
	}
}

// writer starts the child.
func writer(t *testing.T, path string) (*exec.Cmd, *bufio.Reader) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"=write "+path)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	return cmd, bufio.NewReader(out)
}

// round starts a child, kills it after some of its lines, and reads what it had said by then.
func (k *told) round(t *testing.T, path string, lines int) {
	cmd, out := writer(t, path)
	for i := 0; i < lines; i++ {
		s, err := out.ReadString('\n')
		require.NoError(t, err, "the child ended by itself")
		k.line(t, s)
	}
	require.NoError(t, cmd.Process.Kill())
	for { // what it said before it died, whole lines
		s, err := out.ReadString('\n')
		if err != nil {
			break
		}
		k.line(t, s)
	}
	_ = cmd.Wait()
}

func (k *told) check(t *testing.T, path string) {
	storetest.Check(t, path)
	db := mustOpen(t, path, storetest.BootID)
	defer func() { require.NoError(t, db.Close()) }()
	require.Empty(t, db.Damaged())
	n := spokes(t, db)
	require.GreaterOrEqual(t, n, k.readings)
	for _, id := range k.actions[max(0, len(k.actions)-50):] {
		_, _, known, err := db.Done(id)
		require.NoError(t, err)
		require.True(t, known, "action %s was answered and is lost", id)
	}
	ds, err := db.Pending("mqtt", 1<<20)
	require.NoError(t, err)
	pending := map[string]bool{}
	for _, d := range ds {
		pending[d.Alert.ID] = true
	}
	for id, settled := range k.alerts {
		if settled {
			require.False(t, pending[id], "alert %s was settled and is pending again", id)
			continue
		}
		if !pending[id] { // settled just before the child died, and not told
			ds, err := db.Deliveries(id)
			require.NoError(t, err)
			require.Len(t, ds, 1, "alert %s was issued and is lost", id)
			k.alerts[id] = true
		}
	}
}

func TestKilledAtAnyMoment(t *testing.T) {
	t.Parallel()
	kills := 12
	if slow {
		kills = 1000
	}
	path := filepath.Join(t.TempDir(), "nightjar.db")
	k := &told{alerts: map[string]bool{}}
	rnd := rand.New(rand.NewPCG(4, 4))
	for range kills {
		k.round(t, path, rnd.IntN(40))
		if _, err := os.Stat(path); err != nil {
			continue // killed before there was one
		}
		k.check(t, path)
	}
	t.Logf("%d kills: %d readings, %d actions and %d alerts told, none lost", kills, k.readings, len(k.actions), len(k.alerts))
	assert.NotEmpty(t, k.actions)
	assert.NotEmpty(t, k.alerts)
	assert.Positive(t, k.readings)
}

// held counts what a store holds.
type held struct{ n, actions, alerts int }

// image is the file after a commit, and what it held.
type image struct {
	b []byte
	held
}

// recordWrites runs a store and keeps the file as it was after each commit.
func recordWrites(t *testing.T, commits int) []image {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db := mustOpen(t, path, storetest.BootID)
	db.NoSync()
	defer db.Close()
	rnd := rand.New(rand.NewPCG(8, 8))
	var images []image
	now := image{}
	for i := range commits {
		at := storetest.At(db, time.Duration(now.n)*30*time.Second)
		switch rnd.IntN(3) {
		case 0:
			_, _, err := db.Act(rise.Action{ID: fmt.Sprint("a", now.actions), Kind: rise.ActionNote, Station: "sill", At: at})
			require.NoError(t, err)
			now.actions++
		case 1:
			_, _, err := db.Issue(rise.Alert{Kind: rise.AlertFault, Station: "sill", Episode: i, Issued: at}, []string{"mqtt"})
			require.NoError(t, err)
			now.alerts++
		default:
			for range 1 + rnd.IntN(200) {
				db.Add("sill", spoke(db, now.n))
				now.n++
			}
			require.NoError(t, db.Flush())
		}
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		now.b = b
		images = append(images, now)
	}
	return images
}

// cut is the file after a power cut between two commits: of the sectors that differ, those for which keep is true.
func cut(before, after []byte, keep func(sector int, meta bool) bool) []byte {
	b := append([]byte(nil), before...)
	b = append(b, make([]byte, max(0, len(after)-len(before)))...)
	for at := 0; at < len(after); at += 512 {
		if !bytes.Equal(b[at:at+512], after[at:at+512]) && keep(at/512, at < 2*4096) {
			copy(b[at:at+512], after[at:at+512])
		}
	}
	return b
}

// openCut opens a cut file as the daemon does and returns what is in it, and whether anything was found and told.
func openCut(t *testing.T, b []byte) (got held, toldOf bool) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "nightjar.db")
	require.NoError(t, os.WriteFile(path, b, 0o600))
	db, err := store.Open(path, store.Options{BootID: storetest.BootID, Repair: true})
	require.NoError(t, err, "the daemon starts in any case")
	for r, err := range db.Readings("sill", rise.Stamp{}, store.LastStamp) {
		require.NoError(t, err)
		r.Time, r.Quality = time.Time{}, ""
		require.Equal(t, spoke(db, int(r.At/(30*time.Second))), r, "what is read is as it was written")
		got.n++
	}
	as, err := db.Actions(0)
	require.NoError(t, err)
	ds, err := db.Pending("mqtt", 1<<20)
	require.NoError(t, err)
	got.actions, got.alerts = len(as), len(ds)
	_, fresh, err := db.Issue(rise.Alert{Kind: rise.AlertReady, Station: "sill", Episode: 1, Issued: storetest.At(db, time.Hour)}, []string{"mqtt"})
	require.NoError(t, err, "the daemon goes on alerting")
	require.True(t, fresh)
	toldOf = len(db.Damaged()) > 0 || db.Repaired() != nil
	require.NoError(t, db.Close())
	return got, toldOf
}

// TestPowerCutsOnAnHonestCard: whatever was not yet synced may be there or not, sector by sector; what was is there. Each
// cut must leave the state before or after the commit it fell into, whole and without a word.
func TestPowerCutsOnAnHonestCard(t *testing.T) {
	t.Parallel()
	images := recordWrites(t, 80)
	cuts := 25
	if slow {
		cuts = 2000
	}
	for seed := range uint64(cuts) {
		rnd := rand.New(rand.NewPCG(seed, 6))
		i := 1 + rnd.IntN(len(images)-1)
		before, after := images[i-1], images[i]
		synced := rnd.IntN(2) == 0 // whether the cut fell into writing the pages or the meta page after them
		b := cut(before.b, after.b, func(_ int, meta bool) bool {
			return (synced && !meta) || (synced == meta && rnd.IntN(2) == 0)
		})
		got, toldOf := openCut(t, b)
		if got != before.held {
			require.Equal(t, after.held, got, "seed %d", seed)
		}
		require.False(t, toldOf, "seed %d", seed)
	}
}

// TestPowerCutsOnALyingCard: the meta page is there, and any of what it speaks of is not, though the card said so. The
// store starts, what it gives back is true, and if anything is missing it says so.
func TestPowerCutsOnALyingCard(t *testing.T) {
	t.Parallel()
	images := recordWrites(t, 80)
	cuts := 25
	if slow {
		cuts = 2000
	}
	silent, missing := 0, 0
	for seed := range uint64(cuts) {
		rnd := rand.New(rand.NewPCG(seed, 7))
		i := 1 + rnd.IntN(len(images)-1)
		from := max(0, i-1-rnd.IntN(3)) // up to three commits of which some pages never came
		part := rnd.IntN(8)
		b := cut(images[from].b, images[i].b, func(_ int, meta bool) bool { return meta || rnd.IntN(8) < part })
		got, toldOf := openCut(t, b)
		want := images[i]
		if got.n >= want.n && got.actions >= want.actions && got.alerts >= want.alerts {
			continue
		}
		missing++
		if !toldOf {
			silent++
			t.Errorf("seed %d: %v instead of %v, and not a word", seed, got, want.held)
		}
	}
	t.Logf("%d cuts, %d with something missing, %d of them not told", cuts, missing, silent)
	assert.Positive(t, missing)
}
