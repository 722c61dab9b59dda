package store_test

import (
	"math"
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

// kitchen makes the readings of a station as a chip with whole-millimetre registers and two probes give them: a dough
// that rises in 10 h once a day and is taken out, single ranges with 1 mm of noise, 20 of them a tick, probes in
// sixteenths of a degree that the kernel cuts to thousandths, a room that follows the day, ticks that come up to a
// millisecond late.
type kitchen struct {
	rnd  *rand.Rand
	boot uint32
	n    int
	room float64
}

func newKitchen(seed uint64, boot uint32) *kitchen {
	return &kitchen{rnd: rand.New(rand.NewPCG(seed, 77)), boot: boot, room: 21}
}

func (k *kitchen) next() rise.Reading {
	at := time.Duration(k.n)*30*time.Second + time.Duration(k.rnd.Float64()*1.2e6)
	k.n++
	hour := at.Hours()
	day := math.Sin(2 * math.Pi * hour / 24)
	k.room += 0.02 * (21 + 2*day + k.rnd.NormFloat64() - k.room)
	level := 0.0
	if h := math.Mod(hour, 24); h < 12 {
		level = 30 + 40/(1+math.Exp(-(h-6)/1.2))
	}
	r := rise.Reading{Stamp: rise.Stamp{Boot: k.boot, At: at}}
	k.burst(&r, 140-level)
	r.SignalMcps = rise.Known(4 + level/20 + 0.05*k.rnd.NormFloat64())
	r.AmbientMcps = rise.Known(math.Max(0, 0.3*day) * (1 + 0.02*k.rnd.NormFloat64()))
	r.SigmaMM = rise.Known(1.6 - level/200 + 0.02*k.rnd.NormFloat64())
	r.JarC, r.RoomC = k.probe(k.room+0.8), k.probe(k.room)
	return r.Rounded()
}

func (k *kitchen) burst(r *rise.Reading, mm float64) {
	r.Of, r.Valid = 20, 20
	if k.rnd.IntN(20) == 0 {
		r.Valid = 19
	}
	var sum, squares float64
	for range r.Valid {
		x := math.Round(mm + k.rnd.NormFloat64())
		sum, squares = sum+x, squares+x*x
	}
	n := float64(r.Valid)
	r.RangeMM, r.SpreadMM = rise.Known(sum/n), rise.Known(math.Sqrt((squares-sum*sum/n)/(n-1)))
	r.Statuses[rise.StatusGood] = 20
}

func (k *kitchen) probe(c float64) rise.Num {
	sixteenths := math.Round((c + 0.02*k.rnd.NormFloat64()) * 16)
	return rise.Known(math.Trunc(sixteenths*62.5) / 1000)
}

const yearOfTicks = 365 * 24 * 120

// yearFile makes a store with ticks readings, committed as the daemon does: every 2 min during the 12 hours of a run and
// every 10 min else, with the day's actions and alert.
func yearFile(t testing.TB, path string, ticks int) {
	t.Helper()
	db, err := store.Open(path, store.Options{BootID: storetest.BootID})
	require.NoError(t, err)
	db.NoSync()
	k := newKitchen(1, db.Boot())
	for i := range ticks {
		r := k.next()
		db.Add("sill", r)
		inRun := i%2880 < 1440
		switch at := (rise.Moment{Stamp: r.Stamp, Wall: storetest.At(db, r.At).Wall}); i % 2880 {
		case 0:
			_, _, err = db.Act(rise.Action{Kind: rise.ActionStart, Start: dough("sill"), At: at})
		case 900:
			_, _, err = db.Issue(rise.Alert{Kind: rise.AlertReady, Station: "sill", Run: i/2880 + 1, Episode: 1, Issued: at}, []string{"mqtt"})
		case 1440:
			_, _, err = db.Act(rise.Action{Kind: rise.ActionEnd, Station: "sill", At: at})
		default:
			if (inRun && i%4 == 0) || i%20 == 0 {
				err = db.Flush()
			}
		}
		require.NoError(t, err)
	}
	require.NoError(t, db.Close())
}

func TestPackedSize(t *testing.T) {
	t.Parallel()
	days := 4
	if slow {
		days = 365
	}
	path := filepath.Join(t.TempDir(), "nightjar.db")
	yearFile(t, path, days*2880)
	r, err := store.Check(path)
	require.NoError(t, err)
	require.Empty(t, r.Damage)
	require.Equal(t, days*2880, r.Readings)
	info, err := os.Stat(path)
	require.NoError(t, err)
	t.Logf("%d days: %d bytes, %d in use, %.2f bytes a reading, %v", days, info.Size(), r.Used, float64(r.Used)/float64(r.Readings), r.Records)
	if slow {
		assert.LessOrEqual(t, info.Size(), int64(10<<20))
		assert.LessOrEqual(t, float64(r.Used)/float64(r.Readings), 5.0)
	}
	assert.LessOrEqual(t, float64(r.Used), 16*4096+5*float64(r.Readings))
}

func BenchmarkYear(b *testing.B) {
	path := filepath.Join(b.TempDir(), "nightjar.db")
	db, err := store.Open(path, store.Options{BootID: storetest.BootID})
	require.NoError(b, err)
	k := newKitchen(1, db.Boot())
	for i := range yearOfTicks {
		db.Add("sill", k.next())
		if i%20000 == 0 {
			require.NoError(b, db.Flush())
		}
	}
	require.NoError(b, db.Close())
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			db, err := store.Open(path, store.Options{BootID: storetest.BootID})
			require.NoError(b, err)
			require.NoError(b, db.Close())
		}
	})
	b.Run("read", func(b *testing.B) {
		db, err := store.Open(path, store.Options{BootID: storetest.BootID})
		require.NoError(b, err)
		defer db.Close()
		b.ReportAllocs()
		for b.Loop() {
			n := 0
			for range db.Readings("sill", rise.Stamp{}, store.LastStamp) {
				n++
			}
			require.Equal(b, yearOfTicks, n)
		}
	})
	b.Run("check", func(b *testing.B) {
		for b.Loop() {
			_, err := store.Check(path)
			require.NoError(b, err)
		}
	})
}
