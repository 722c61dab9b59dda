package store_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
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

// content is what the stores of these tests hold.
type content struct {
	readings map[string][]rise.Reading
	runs     []rise.Run
	actions  int
	active   int
}

// filled makes a store file with several pages of everything and returns its bytes and what it holds.
func filled(t *testing.T) ([]byte, content) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db := mustOpen(t, path, storetest.BootID)
	rnd := rand.New(rand.NewPCG(3, 3))
	_, err := db.PutJar(rise.Jar{Name: "weck", FloorMM: 140})
	require.NoError(t, err)
	for i := range 2500 {
		at := time.Duration(i) * 30 * time.Second
		for _, s := range stations {
			r := tick(db, at)
			r.RangeMM, r.SignalMcps = rise.Known(90+rnd.NormFloat64()), rise.Known(8+0.1*rnd.NormFloat64())
			db.Add(s, r)
		}
		if i%100 == 0 {
			mustStart(t, db, stations[0], at)
			_, _, err = db.Issue(rise.Alert{Kind: rise.AlertReady, Station: stations[1], Episode: i, Issued: storetest.At(db, at)}, []string{"mqtt"})
			require.NoError(t, err)
			require.NoError(t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: db.Boot(), At: at}, Wall: storetest.At(db, at*2).Wall}))
			_, _, err = db.Act(rise.Action{Kind: rise.ActionEnd, Station: stations[0], At: storetest.At(db, at+time.Minute)})
			require.NoError(t, err)
		}
	}
	mustStart(t, db, stations[0], 2500*30*time.Second)
	require.NoError(t, db.Flush())
	c := holds(t, db)
	require.NoError(t, db.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return b, c
}

// holds reads everything, and fails the test if reading ends early.
func holds(t *testing.T, db *store.DB) content {
	t.Helper()
	c := content{readings: map[string][]rise.Reading{}}
	for _, s := range stations {
		for r, err := range db.Readings(s, rise.Stamp{}, store.LastStamp) {
			if err != nil {
				require.ErrorIs(t, err, store.ErrDamaged)
				return c
			}
			r.Time, r.Quality = time.Time{}, ""
			c.readings[s] = append(c.readings[s], r)
		}
	}
	var err error
	if c.runs, err = db.Runs(); err != nil {
		require.ErrorIs(t, err, store.ErrDamaged)
	}
	for n := range len(c.runs) + 1 {
		as, err := db.Actions(n)
		if err != nil {
			require.ErrorIs(t, err, store.ErrDamaged)
		}
		c.actions += len(as)
	}
	active, err := db.Active(stations[1])
	if err != nil {
		require.ErrorIs(t, err, store.ErrDamaged)
	}
	c.active = len(active)
	return c
}

func lost(want, got []rise.Reading) int {
	seen := map[rise.Reading]int{}
	for _, r := range got {
		seen[r]++
	}
	n := 0
	for _, r := range want {
		if seen[r]--; seen[r] < 0 {
			n++
		}
	}
	return n
}

// spoil writes a spoiled copy of a store and tries everything on it. It returns how many readings a repair lost.
func spoil(t *testing.T, b []byte, want content) (lostReadings int) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "nightjar.db")
	require.NoError(t, os.WriteFile(path, b, 0o600))
	db, err := store.Open(path, store.Options{BootID: "later", Timeout: 100 * time.Millisecond})
	if err != nil {
		require.ErrorIs(t, err, store.ErrDamaged)
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, b, after, "a refused file is left as it is")
	} else {
		got := holds(t, db)
		for _, s := range stations {
			if n := lost(want.readings[s], got.readings[s]); n > 0 {
				require.NotEmpty(t, db.Damaged(), "%d readings are missing and nobody says so", n)
			}
		}
		_, _, err := db.Act(rise.Action{Kind: rise.ActionNote, Station: "sill", At: storetest.At(db, time.Hour)})
		if err != nil {
			require.ErrorIs(t, err, store.ErrDamaged)
		}
		_ = db.Close()
	}

	require.NoError(t, os.WriteFile(path, b, 0o600))
	db, err = store.Open(path, store.Options{BootID: "later", Timeout: 100 * time.Millisecond, Repair: true})
	require.NoError(t, err, "the daemon starts in any case")
	got := holds(t, db)
	for _, s := range stations {
		lostReadings += lost(want.readings[s], got.readings[s])
		for i, r := range got.readings[s] {
			require.False(t, i > 0 && r.Before(got.readings[s][i-1].Stamp))
		}
	}
	require.True(t, lostReadings == 0 || len(db.Damaged()) > 0 || db.Repaired() != nil)
	db.Add("sill", tick(db, time.Hour))
	_, fresh, err := db.Issue(rise.Alert{Kind: rise.AlertFault, Station: "sill", Episode: 1, Issued: storetest.At(db, time.Hour)}, []string{"mqtt"})
	require.NoError(t, err, "the daemon goes on alerting")
	require.True(t, fresh)
	require.NoError(t, db.Close())
	if r := db.Repaired(); r != nil {
		require.FileExists(t, r.MovedTo)
		storetest.Check(t, path)
	}
	return lostReadings
}

// every is the step of pages: all in the long form, half a dozen in the short one.
func every(b []byte) int {
	if slow {
		return 1
	}
	return max(1, len(b)/4096/6)
}

func TestFileCutAtEveryPage(t *testing.T) {
	t.Parallel()
	b, want := filled(t)
	for n := 0; n < len(b); n += 4096 * every(b) {
		spoil(t, b[:n], want)
		spoil(t, b[:min(n+700, len(b))], want)
	}
}

func TestEveryPageZeroedCostsOnlyItself(t *testing.T) {
	t.Parallel()
	b, want := filled(t)
	total := 0
	for n := 0; n < len(b); n += 4096 * every(b) {
		spoiled := append([]byte(nil), b...)
		clear(spoiled[n : n+4096])
		lost := spoil(t, spoiled, want)
		assert.LessOrEqual(t, lost, 4*640, "page %d", n/4096)
		total += lost
	}
	t.Logf("pages zeroed one at a time: %.0f readings lost a time", float64(total)*float64(every(b))/float64(len(b)/4096))
}

func TestFlippedBits(t *testing.T) {
	t.Parallel()
	b, want := filled(t)
	seeds := uint64(9)
	if slow {
		seeds = 1000
	}
	for seed := range seeds {
		rnd := rand.New(rand.NewPCG(seed, 5))
		spoiled := append([]byte(nil), b...)
		bit := rnd.IntN(len(b) * 8)
		switch seed % 3 {
		case 0: // where the structure is
			bit = rnd.IntN(len(b)/4096)*4096*8 + rnd.IntN(64*8)
		case 1: // in the newest pages, the root among them
			bit = (len(b) - 1 - rnd.IntN(40*4096)) * 8
		}
		spoiled[bit/8] ^= 1 << (bit % 8)
		assert.LessOrEqual(t, spoil(t, spoiled, want), 4*640, fmt.Sprintf("bit %d", bit))
	}
}

func TestABucketWhoseNameIsSpoiled(t *testing.T) {
	t.Parallel()
	b, want := filled(t)
	for _, name := range []string{"boots", "runs", "readings", "settled", "meta"} {
		at := bytes.Index(b, []byte(name))
		for n := 0; at >= 0; n++ {
			spoiled := append([]byte(nil), b...)
			spoiled[at]++
			assert.Zero(t, spoil(t, spoiled, want), "%s at %d", name, at)
			next := bytes.Index(b[at+1:], []byte(name))
			if next < 0 || !slow && n > 0 {
				break
			}
			at += 1 + next
		}
	}
}

func TestALostOutboxIsFilledAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	db := mustOpen(t, path, storetest.BootID)
	mustStart(t, db, "sill", time.Minute)
	var ids []string
	for i := range 60 { // so many that the outbox has pages of its own
		a, _, err := db.Issue(rise.Alert{
			Kind: rise.AlertReady, Level: rise.LevelWakes, Station: "sill", Run: 1, Episode: i, Issued: storetest.At(db, time.Hour),
		}, []string{"mqtt"})
		require.NoError(t, err)
		ids = append(ids, a.ID)
	}
	require.NoError(t, db.Settle("mqtt", ids[0], rise.DeliveryDelivered, 1, ""))
	require.NoError(t, db.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	found := false
	for at := 2 * 4096; at < len(b); at += 4096 { // every page that begins with a delivery: some are old copies, free by now
		page := b[at : at+4096]
		if page[8] == 2 && bytes.Contains(page, []byte(`{"alert":"`+ids[40])) && !bytes.Contains(page, []byte(`"kind"`)) {
			clear(page)
			found = true
		}
	}
	require.True(t, found)
	require.NoError(t, os.WriteFile(path, b, 0o600))
	db = storetest.OpenAt(t, path, store.Options{Repair: true})
	require.NotNil(t, db.Repaired())
	ds, err := db.Pending("mqtt", 100)
	require.NoError(t, err)
	var got []string
	for _, d := range ds {
		got = append(got, d.Alert.ID)
	}
	assert.Equal(t, ids[1:], got, "all but the one that was delivered, in order")
}
