package store_test

import (
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/require"
)

// model is the plainest store there is: what went in, in maps and slices.
type model struct {
	readings map[string][]rise.Reading
	runs     []rise.Run
	open     map[string]int
	actions  map[int][]rise.Action
	byID     map[string]rise.Action
	alerts   map[string]rise.Alert // by what identifies them
	pending  map[string][]string   // by route, in order
	jars     map[string]int
}

// world drives a store and a model with the same random operations.
type world struct {
	t    *testing.T
	rnd  *rand.Rand
	path string
	db   *store.DB
	m    model
	boot int
	now  time.Duration
	n    int
}

var stations = []string{"sill", "shelf"}

func (w *world) open() {
	w.db = mustOpen(w.t, w.path, fmt.Sprintf("%08x", w.boot))
}

func mustOpen(t *testing.T, path, bootID string) *store.DB {
	t.Helper()
	db, err := store.Open(path, store.Options{BootID: bootID})
	require.NoError(t, err)
	return db
}

func (w *world) station() string { return stations[w.rnd.IntN(len(stations))] }

func (w *world) moment() rise.Moment {
	return rise.Moment{Stamp: rise.Stamp{Boot: w.db.Boot(), At: w.now}, Wall: time.Unix(1e9, 0).UTC().Add(w.now)}
}

func (w *world) step() {
	w.now += time.Duration(w.rnd.IntN(20000)) * time.Millisecond
	w.n++
	switch w.rnd.IntN(20) {
	case 0:
		w.start()
	case 1:
		w.end()
	case 2:
		w.act(rise.Action{Kind: rise.ActionNote, Station: w.station(), Text: "n"})
	case 3:
		w.issue()
	case 4:
		w.settle()
	case 5:
		w.act(rise.Action{Kind: rise.ActionAck, Station: w.station()})
	case 6:
		require.NoError(w.t, w.db.Flush())
	case 7:
		w.jar()
	case 8:
		w.reopen()
	case 9:
		w.again()
	default:
		w.add()
	}
}

func (w *world) add() {
	station := w.station()
	for range 1 + w.rnd.IntN(60) {
		w.now += time.Duration(w.rnd.IntN(3)) * time.Second // equal times among them
		r := tick(w.db, w.now)
		w.db.Add(station, r)
		w.m.readings[station] = append(w.m.readings[station], r.Rounded())
	}
}

func (w *world) reopen() {
	if w.rnd.IntN(3) > 0 {
		return
	}
	require.NoError(w.t, w.db.Close())
	storetest.Check(w.t, w.path)
	if w.rnd.IntN(2) == 0 {
		w.boot++
		w.now = 0
	}
	w.open()
	require.EqualValues(w.t, w.boot+1, w.db.Boot())
}

func (w *world) start() {
	station := w.station()
	a, run, err := w.db.Act(rise.Action{ID: fmt.Sprint("id", w.n), Kind: rise.ActionStart, Station: station, Start: dough(station), At: w.moment()})
	if w.m.open[station] != 0 {
		require.ErrorIs(w.t, err, store.ErrRunOpen)
		return
	}
	require.NoError(w.t, err)
	require.Equal(w.t, len(w.m.runs)+1, run.Number)
	w.m.runs = append(w.m.runs, *run)
	w.m.open[station] = run.Number
	w.keep(a)
}

func (w *world) keep(a rise.Action) {
	w.m.actions[a.Run] = append(w.m.actions[a.Run], a)
	w.m.byID[a.ID] = a
}

func (w *world) end() {
	station := w.station()
	n := w.m.open[station]
	a, run, err := w.db.Act(rise.Action{ID: fmt.Sprint("id", w.n), Kind: rise.ActionEnd, Station: station, At: w.moment()})
	if n == 0 {
		require.ErrorIs(w.t, err, store.ErrNotFound)
		return
	}
	require.NoError(w.t, err)
	w.m.runs[n-1] = *run
	require.False(w.t, run.Open())
	w.m.open[station] = 0
	for k, al := range w.m.alerts {
		if al.Run == n && al.Acked.IsZero() {
			al.Acked = a.When
			w.m.alerts[k] = al
		}
	}
	w.keep(a)
}

func (w *world) act(a rise.Action) {
	a.ID, a.At = fmt.Sprint("id", w.n), w.moment()
	done, _, err := w.db.Act(a)
	require.NoError(w.t, err)
	require.Equal(w.t, w.m.open[a.Station], done.Run)
	w.keep(done)
	for k, al := range w.m.alerts {
		if a.Kind == rise.ActionAck && al.Station == a.Station && al.Acked.IsZero() {
			al.Acked = done.When
			w.m.alerts[k] = al
		}
	}
}

// again repeats an action under its id.
func (w *world) again() {
	for id, want := range w.m.byID {
		got, _, err := w.db.Act(rise.Action{ID: id, Kind: want.Kind, At: w.moment()})
		require.NoError(w.t, err)
		require.Equal(w.t, want, got)
		return
	}
}

func (w *world) issue() {
	a := rise.Alert{Kind: rise.AlertKinds[w.rnd.IntN(4)], Station: w.station(), Episode: 1 + w.rnd.IntN(2), N: 1, Issued: w.moment()}
	a.Run = w.m.open[a.Station]
	routes := []string{"mqtt", "push"}[:w.rnd.IntN(3)]
	got, fresh, err := w.db.Issue(a, routes)
	require.NoError(w.t, err)
	key := fmt.Sprint(a.Station, a.Run, a.Kind, a.Episode)
	old, known := w.m.alerts[key]
	require.Equal(w.t, !known, fresh)
	if known {
		require.Equal(w.t, old, got)
		return
	}
	w.m.alerts[key] = got
	for _, r := range routes {
		w.m.pending[r] = append(w.m.pending[r], got.ID)
	}
}

func (w *world) settle() {
	q := w.m.pending["mqtt"]
	if len(q) == 0 {
		return
	}
	i := w.rnd.IntN(len(q))
	require.NoError(w.t, w.db.Settle("mqtt", q[i], rise.DeliveryDelivered, 1, ""))
	w.m.pending["mqtt"] = append(q[:i:i], q[i+1:]...)
}

func (w *world) jar() {
	name := fmt.Sprint("jar", w.rnd.IntN(3))
	j, err := w.db.PutJar(rise.Jar{Name: name, FloorMM: 140})
	require.NoError(w.t, err)
	w.m.jars[name]++
	require.Equal(w.t, w.m.jars[name], j.Version)
}

// compare reads everything back.
func (w *world) compare() {
	for _, s := range stations {
		got := all(w.t, w.db, s)
		for i := range got {
			got[i].Time, got[i].Quality = time.Time{}, ""
		}
		require.Equal(w.t, w.m.readings[s], got)
		w.window(s, w.m.readings[s])
		active, err := w.db.Active(s)
		require.NoError(w.t, err)
		n := 0
		for _, a := range w.m.alerts {
			if a.Station == s && a.Acked.IsZero() {
				n++
			}
		}
		require.Len(w.t, active, n)
		_, open, err := w.db.OpenRun(s)
		require.NoError(w.t, err)
		require.Equal(w.t, w.m.open[s] != 0, open)
	}
	runs, err := w.db.Runs()
	require.NoError(w.t, err)
	require.Equal(w.t, w.m.runs, runs)
	for n := range len(runs) + 1 {
		as, err := w.db.Actions(n)
		require.NoError(w.t, err)
		require.Equal(w.t, w.m.actions[n], as)
	}
	for route, ids := range w.m.pending {
		ds, err := w.db.Pending(route, 1000)
		require.NoError(w.t, err)
		var got []string
		for _, d := range ds {
			got = append(got, d.Alert.ID)
		}
		require.ElementsMatch(w.t, ids, got)
		require.Equal(w.t, len(ids), len(got))
		if len(ids) > 0 {
			require.Equal(w.t, ids, got, "oldest first")
		}
	}
	jars, err := w.db.Jars()
	require.NoError(w.t, err)
	for _, j := range jars {
		require.Equal(w.t, w.m.jars[j.Name], j.Version)
	}
	require.Len(w.t, jars, len(w.m.jars))
	require.Empty(w.t, w.db.Damaged())
}

// window reads from one random reading's stamp to another's.
func (w *world) window(station string, rs []rise.Reading) {
	if len(rs) == 0 {
		return
	}
	i, j := w.rnd.IntN(len(rs)), w.rnd.IntN(len(rs))
	from, to := rs[min(i, j)].Stamp, rs[max(i, j)].Stamp
	want := 0
	for _, r := range rs {
		if !r.Before(from) && !to.Before(r.Stamp) {
			want++
		}
	}
	got := 0
	for r, err := range w.db.Readings(station, from, to) {
		require.NoError(w.t, err)
		require.False(w.t, r.Before(from) || to.Before(r.Stamp))
		got++
	}
	require.Equal(w.t, want, got)
}

func TestStoreAgreesWithAPlainModel(t *testing.T) {
	for seed := range uint64(6) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			t.Parallel()
			w := &world{t: t, rnd: rand.New(rand.NewPCG(seed, 9)), path: filepath.Join(t.TempDir(), "nightjar.db"), m: model{
				readings: map[string][]rise.Reading{}, open: map[string]int{}, actions: map[int][]rise.Action{},
				byID: map[string]rise.Action{}, alerts: map[string]rise.Alert{}, pending: map[string][]string{}, jars: map[string]int{},
			}}
			w.open()
			for i := range 400 {
				w.step()
				if i%40 == 0 {
					w.compare()
				}
			}
			w.compare()
			require.NoError(t, w.db.Close())
			storetest.Check(t, w.path)
		})
	}
}
