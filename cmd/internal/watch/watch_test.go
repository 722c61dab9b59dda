package watch_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/watch"
	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/sim"
	"nightjar/store"
)

const (
	floorMM = 140
	baseMM  = 30
	tick    = 30 * time.Second
)

var evening = time.Date(2026, 3, 6, 20, 0, 0, 0, time.UTC)

// kitchen is a machine with one station, whose sample follows a function of the time since boot.
type kitchen struct {
	t     *testing.T
	clock *sim.Clock
	path  string
	boot  string
	sky   *sky
	out   *out
	level func(at time.Duration) float64
	err   func(at time.Duration) error
	see   func(at time.Duration, b *rise.Burst) // changes what is seen
	jar   func(at time.Duration) (float64, error)

	stations []watch.Station   // nil is one of the name main
	routes   map[string]string // nil is mqtt as it is
}

// sky tells whether the clock is set.
type sky struct{ synced bool }

func newKitchen(t *testing.T) *kitchen {
	return &kitchen{
		t: t, clock: sim.NewClock(evening, 10*time.Minute), path: filepath.Join(t.TempDir(), "nightjar.db"),
		boot: "6b1d7c52-0000-4000-8000-000000000001", sky: &sky{synced: true}, out: &out{},
		level: func(time.Duration) float64 { return baseMM },
	}
}

// reboot makes the machine new: another boot, an uptime from zero, its clock as given.
func (k *kitchen) reboot(wall time.Time) {
	k.boot = "6b1d7c52-0000-4000-8000-000000000002"
	k.clock = sim.NewClock(wall, time.Minute)
}

// String, Range and Halt make a kitchen a sensor.Ranger.
func (k *kitchen) String() string { return "kitchen" }
func (k *kitchen) Halt() error    { return nil }
func (k *kitchen) Range(_ context.Context, n int) (rise.Burst, error) {
	at := k.clock.Boot()
	if k.err != nil {
		if err := k.err(at); err != nil {
			return rise.Burst{Of: n}, err
		}
	}
	scatter := rand.New(rand.NewPCG(1, uint64(at))).NormFloat64() * 0.22 // 1 mm over √20; the same for the same moment
	b := rise.Burst{RangeMM: rise.Known(floorMM - k.level(at) + scatter), SpreadMM: rise.Known(1), Valid: n, Of: n}
	b.Statuses[rise.StatusGood] = uint16(n)
	if k.see != nil {
		k.see(at, &b)
	}
	return b, nil
}

type probe struct{ k *kitchen }

func (p probe) String() string { return "probe" }
func (p probe) Temperature(context.Context) (physic.Temperature, error) {
	c, err := 24.0, error(nil)
	if p.k.jar != nil {
		c, err = p.k.jar(p.k.clock.Boot())
	}
	return physic.Temperature(c*float64(physic.Celsius)) + physic.ZeroCelsius, err
}

// out is a publisher that remembers.
type out struct {
	mu     sync.Mutex
	states []api.State
	alerts int
}

func (o *out) Alert(rise.Alert) { o.mu.Lock(); defer o.mu.Unlock(); o.alerts++ }
func (o *out) Answered(bool)    {}
func (o *out) State(_ string, b []byte) {
	var s api.State
	if err := json.Unmarshal(b, &s); err != nil {
		panic(err)
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.states = append(o.states, s)
}

// open opens the store as this boot.
func (k *kitchen) open() *store.DB {
	db, err := store.Open(k.path, store.Options{BootID: k.boot, Device: "test"})
	require.NoError(k.t, err)
	return db
}

// during watches for a span of the simulated time; do is called before the first tick.
func (k *kitchen) during(span time.Duration, do func(db *store.DB, w *watch.Watch)) {
	db := k.open()
	defer func() { require.NoError(k.t, db.Close()) }()
	k.watch(db, db, span, do)
}

func (k *kitchen) watch(db *store.DB, s watch.Store, span time.Duration, do func(db *store.DB, w *watch.Watch)) {
	ctx, cancel := context.WithCancel(k.t.Context())
	defer cancel()
	stations, routes := k.stations, k.routes
	if stations == nil {
		stations = []watch.Station{{Name: "main", Ranger: k, Jar: probe{k}, Every: tick, Ranges: 20}}
	}
	if routes == nil {
		routes = map[string]string{"mqtt": "as it is"}
	}
	w, err := watch.New(watch.Options{
		Clock: k.clock, Store: s, Publisher: k.out, Routes: routes, Synced: func() bool { return k.sky.synced }, Stations: stations,
	})
	require.NoError(k.t, err)
	require.NoError(k.t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: db.Boot(), At: k.clock.Boot()}, Wall: k.clock.Wall(), Synced: k.sky.synced}))
	if do != nil {
		do(db, w)
	}
	leave := k.clock.Join()
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	err = k.clock.Sleep(ctx, span)
	cancel()
	leave()
	require.NoError(k.t, err)
	require.NoError(k.t, <-done)
}

// start opens a run over a jar of 70 mm.
func (k *kitchen) start(db *store.DB, w *watch.Watch) {
	j, err := db.PutJar(rise.Jar{Name: "tall", FloorMM: floorMM, UFloorMM: 0.5, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 70}})
	require.NoError(k.t, err)
	now := rise.Moment{Stamp: rise.Stamp{Boot: db.Boot(), At: k.clock.Boot()}, Wall: k.clock.Wall()}
	_, run, err := db.Act(rise.Action{ID: "start", Kind: rise.ActionStart, Station: "main", When: now, At: now,
		Start: &rise.Run{Kind: rise.RunDough, Jar: j.Name, JarVersion: j.Version, Target: 2}})
	require.NoError(k.t, err)
	require.Equal(k.t, 1, run.Number)
	w.Changed("main")
}

// doubling rises slowly at first and then steadily, from ×1 at two hours to ×2 at eight hours of uptime.
func doubling(at time.Duration) float64 {
	h := max(0, at.Hours()-2)
	return baseMM * (1 + 2/(1+math.Exp(-(h-6)/1.2)) - 2/(1+math.Exp(6/1.2)))
}

// alerts lists the kinds of alerts issued for the station, with or without a run.
func (k *kitchen) alerts(run int) (kinds []rise.AlertKind, all []rise.Alert) {
	db := k.open()
	defer db.Close()
	all, err := db.Alerts("main", run)
	require.NoError(k.t, err)
	for _, a := range all {
		kinds = append(kinds, a.Kind)
	}
	return kinds, all
}

func TestWatch_RingsReadyOnceAndCarriesOnAfterARestart(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.during(5*time.Hour, k.start)
	before, _ := k.alerts(1)
	assert.NotContains(t, before, rise.AlertReady)
	for range 4 { // a restart an hour, before, at and after the doubling
		k.during(time.Hour+7*time.Second, nil)
	}
	kinds, all := k.alerts(1)
	ready := 0
	for _, a := range all {
		if a.Kind == rise.AlertReady && a.N == 1 {
			ready++
			assert.InDelta(t, 8, a.Issued.At.Hours(), 0.25, "ready rings near the doubling")
			assert.Equal(t, rise.TimeSynced, a.Quality)
		}
	}
	assert.Equal(t, 1, ready, "of %v", kinds)

	db := k.open()
	defer db.Close()
	n := 0
	for r, err := range db.Readings("main", rise.Stamp{}, rise.Stamp{Boot: math.MaxUint32}) {
		require.NoError(t, err)
		require.Empty(t, r.Fault)
		c, ok := r.JarC.Get()
		require.True(t, ok)
		require.InDelta(t, 24, c, 1e-6)
		n++
	}
	assert.InDelta(t, 9*time.Hour/tick, n, 8, "a reading each tick")
}

func TestWatch_StateSaysWhatTheEstimateSays(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.during(7*time.Hour, k.start)
	last := k.out.states[len(k.out.states)-1]
	m, ok := last.Multiple.Get()
	require.True(t, ok)
	assert.InDelta(t, doubling(k.clock.Boot())/baseMM, m, 0.02)
	require.NotNil(t, last.Run)
	assert.Equal(t, 1, *last.Run)
	assert.Equal(t, rise.PhaseRising, last.Phase)
	assert.False(t, last.Stale)
	require.NotNil(t, last.ETAP50, "reason: %v", last.Reason)
	assert.WithinDuration(t, evening.Add(8*time.Hour-10*time.Minute), *last.ETAP50, 45*time.Minute)
}

func TestWatch_RefoldingGivesTheSameEstimate(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.during(6*time.Hour, k.start)
	before := k.out.states[len(k.out.states)-1]
	k.during(0, func(_ *store.DB, w *watch.Watch) { w.Changed("main") })
	after := k.out.states[len(k.out.states)-1]
	assert.Equal(t, before.Point, after.Point, "folded from the store as it was folded reading by reading")
}

func TestWatch_TellsAFaultThatLastsAndItsEnd(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	begin := k.clock.Boot()
	k.err = func(at time.Duration) error {
		switch h := (at - begin).Hours(); {
		case h > 0.5 && h < 0.55: // three minutes: told as a condition, not as an alert
			return sensor.ErrTimeout
		case h > 1 && h < 2:
			return sensor.ErrAbsent
		}
		return nil
	}
	k.during(3*time.Hour, nil)
	kinds, all := k.alerts(0)
	assert.Equal(t, []rise.AlertKind{rise.AlertFault, rise.AlertRestored}, kinds)
	assert.Contains(t, all[0].Text, "check its cable")
	assert.InDelta(t, 1+5.0/60, (all[0].Issued.At - begin).Hours(), 0.02)

	db := k.open()
	defer db.Close()
	faults := map[rise.Fault]int{}
	for r, err := range db.Readings("main", rise.Stamp{}, rise.Stamp{Boot: math.MaxUint32}) {
		require.NoError(t, err)
		faults[r.Fault]++
		assert.Equal(t, r.Fault == rise.FaultNone, r.RangeMM.IsKnown())
	}
	assert.InDelta(t, 6, faults[rise.FaultTimeout], 1, "bad ticks are stored too")
	assert.InDelta(t, 119, faults[rise.FaultAbsent], 2)
}

func TestWatch_AFaultAcrossARestartIsToldOnce(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.err = func(time.Duration) error { return sensor.ErrBus }
	k.during(10*time.Minute, nil)
	k.during(10*time.Minute, nil)
	k.err = nil
	k.during(time.Minute, nil)
	kinds, _ := k.alerts(0)
	assert.Equal(t, []rise.AlertKind{rise.AlertFault, rise.AlertRestored}, kinds)
}

func TestWatch_RingsAtOnceAfterAPowerCutThatSpannedTheTarget(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.during(6*time.Hour, k.start)
	off := evening.Add(6 * time.Hour)
	on := off.Add(3 * time.Hour)
	k.reboot(on)
	k.level = func(at time.Duration) float64 { return doubling(at - time.Minute + 9*time.Hour + 10*time.Minute) }
	k.during(time.Hour, nil)
	_, all := k.alerts(1)
	var ready []rise.Alert
	for _, a := range all {
		if a.Kind == rise.AlertReady && a.N == 1 {
			ready = append(ready, a)
		}
	}
	require.Len(t, ready, 1)
	assert.Less(t, ready[0].Issued.At, 6*time.Minute, "at once: as soon as it is sure")
	assert.Contains(t, ready[0].Text, "Between 02:00 and 05:00, power was off.")
}

func TestWatch_AnOutageWithoutAClockLastsAnUnknownTime(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	k.during(6*time.Hour, k.start)
	k.sky.synced = false
	k.reboot(evening.Add(5 * time.Hour)) // the clock stands an hour behind the last reading
	k.level = func(at time.Duration) float64 { return doubling(at - time.Minute + 9*time.Hour + 10*time.Minute) }
	k.during(time.Hour, nil)
	_, all := k.alerts(1)
	found := false
	for _, a := range all {
		if a.Kind == rise.AlertReady && a.N == 1 {
			found = true
			assert.Contains(t, a.Text, "power was off for an unknown time")
			assert.Equal(t, rise.TimeEstimated, a.Quality)
		}
	}
	assert.True(t, found, "ready rings although the clock is wrong: %v", all)
}

func TestWatch_ASetClockMovesAllReadingsOfTheBoot(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.sky.synced = false
	k.clock = sim.NewClock(time.Unix(0, 0), 10*time.Minute) // cold start in 1970
	k.level = doubling
	k.during(2*time.Hour, k.start)
	k.clock.SetWall(evening)
	k.sky.synced = true
	k.during(time.Hour, nil)
	last := k.out.states[len(k.out.states)-1]
	assert.WithinDuration(t, evening.Add(time.Hour), last.Time, time.Minute)
	db := k.open()
	defer db.Close()
	c, err := db.Case(1)
	require.NoError(t, err)
	require.NotEmpty(t, c.Readings)
	assert.WithinDuration(t, evening.Add(-2*time.Hour), c.Readings[0].Time, time.Minute, "the first reading, taken in 1970 by the clock of then")
	assert.Equal(t, rise.TimeSynced, c.Readings[0].Quality)
}

func TestWatch_AStepWhileWatchingFoldsAnew(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	var stepped sync.Once
	k.err = func(at time.Duration) error {
		if at > 4*time.Hour {
			stepped.Do(func() { k.clock.StepWall(-3 * time.Hour) })
		}
		return nil
	}
	k.during(6*time.Hour, k.start)
	last := k.out.states[len(k.out.states)-1]
	m, _ := last.Multiple.Get()
	assert.InDelta(t, doubling(k.clock.Boot())/baseMM, m, 0.02, "the curve does not bend")
	require.NotNil(t, last.ETAP50)
	assert.WithinDuration(t, evening.Add(8*time.Hour-10*time.Minute-3*time.Hour), *last.ETAP50, 75*time.Minute, "shown on the clock of now")
}

func TestWatch_AnUnpluggedProbeIsToldAndHoldsNothingUp(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.jar = func(time.Duration) (float64, error) { return 0, sensor.ErrAbsent }
	k.during(10*time.Minute, func(_ *store.DB, w *watch.Watch) {
		go func() { // whatever asks while it watches gets an answer
			for range 20 {
				_, ok := w.Status("main")
				assert.True(t, ok)
			}
		}()
	})
	db := k.open()
	defer db.Close()
	r, ok, err := db.LastReading("main")
	require.NoError(t, err)
	require.True(t, ok)
	assert.True(t, r.RangeMM.IsKnown())
	assert.False(t, r.JarC.IsKnown())

	w, err := watch.New(watch.Options{Clock: k.clock, Store: db, Stations: []watch.Station{{Name: "main", Ranger: k, Jar: probe{k}, Every: tick, Ranges: 20}}})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	k.jar = func(time.Duration) (float64, error) {
		cancel() // one tick only
		return 0, sensor.ErrAbsent
	}
	require.NoError(t, w.Run(ctx))
	k.jar = func(time.Duration) (float64, error) { return 24, nil }
}

func TestWatch_EndsARunByItselfAfterItsLimit(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.during(25*time.Hour, k.start)
	db := k.open()
	defer db.Close()
	run, err := db.Run(1)
	require.NoError(t, err)
	require.False(t, run.Open())
	assert.Equal(t, "limit", run.EndReason)
	assert.InDelta(t, 24, (run.End.At - run.Started.At).Hours(), 0.02)
	actions, err := db.Actions(1)
	require.NoError(t, err)
	assert.Contains(t, actions[len(actions)-1].Text, "ended by itself after 24 hours")
}

// fullDisk is a store that cannot write for a while.
type fullDisk struct {
	*store.DB
	full func() bool
}

var errFull = errors.New("no space left on device")

func (d fullDisk) Flush() error {
	if d.full() {
		return errFull
	}
	return d.DB.Flush()
}

func (d fullDisk) Issue(a rise.Alert, routes []string) (rise.Alert, bool, error) {
	if d.full() {
		return a, false, errFull
	}
	return d.DB.Issue(a, routes)
}

func TestWatch_WatchesOnWhileTheDiskIsFullAndCatchesUp(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = doubling
	db := k.open()
	var watching *watch.Watch
	told := false
	s := fullDisk{db, func() bool {
		h := k.clock.Boot().Hours()
		if watching != nil && h > 5.2 && h < 8.9 {
			for _, c := range watching.Health() {
				told = told || c.Name == "store"
			}
		}
		return h > 5 && h < 9
	}}
	k.watch(db, s, 10*time.Hour, func(db *store.DB, w *watch.Watch) {
		k.start(db, w)
		watching = w
	})
	assert.True(t, told, "the full disk is a health condition")
	assert.Empty(t, watching.Health(), "and is over")
	require.NoError(t, db.Close())
	kinds, all := k.alerts(1)
	assert.Contains(t, kinds, rise.AlertReady)
	for _, a := range all {
		if a.Kind == rise.AlertReady && a.N == 1 {
			assert.InDelta(t, 9, a.Issued.At.Hours(), 0.05, "rung as soon as it could be stored")
		}
	}
	db = k.open()
	defer db.Close()
	c, err := db.Case(1)
	require.NoError(t, err)
	assert.InDelta(t, 10*time.Hour/tick, len(c.Readings), 3, "no reading is lost")
}

func TestWatch_ABurstBetweenTheTicksTakesTurnsWithThem(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	var bursting atomic.Int32
	k.err = func(time.Duration) error {
		if n := bursting.Add(1); n != 1 {
			t.Errorf("%d bursts at once", n)
		}
		defer bursting.Add(-1)
		return k.clock.Sleep(t.Context(), 2*time.Second)
	}
	asked := make(chan error, 1)
	k.during(time.Hour, func(_ *store.DB, w *watch.Watch) {
		go func() {
			for range 20 {
				b, err := w.Burst(t.Context(), "main", 7)
				if err != nil || b.Valid != 7 {
					asked <- fmt.Errorf("%v %w", b, err)
					return
				}
			}
			_, err := w.Burst(t.Context(), "other", 7)
			if err == nil {
				err = errors.New("a station that is not there gives a burst")
			} else {
				err = nil
			}
			asked <- err
		}()
	})
	require.NoError(t, <-asked)
}

func TestNew_RefusesWhatCannotBeWatched(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	db := k.open()
	defer db.Close()
	good := watch.Station{Name: "main", Ranger: k, Every: tick, Ranges: 20}
	for name, stations := range map[string][]watch.Station{
		"no station": nil, "two of a name": {good, good}, "no ranger": {{Name: "main", Every: tick, Ranges: 1}},
		"no tick": {{Name: "main", Ranger: k, Ranges: 1}}, "no ranges": {{Name: "main", Ranger: k, Every: tick}},
	} {
		_, err := watch.New(watch.Options{Clock: k.clock, Store: db, Stations: stations})
		require.Error(t, err, name)
	}
}

// trlafleur/Tasmota-Tank-Sensor issue 1, sparkfun/SparkFun_VL53L5CX_Arduino_Library issue 10: the same level is seen nearer by day
// than by night. The sample here does not rise at all.
func TestWatch_ABiasOfDayAndNightRingsNothing(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.level = func(at time.Duration) float64 {
		if int(at/(12*time.Hour))%2 == 0 {
			return 40 - 8
		}
		return 40 + 8
	}
	k.during(23*time.Hour, k.start)
	kinds, all := k.alerts(1)
	assert.NotContains(t, kinds, rise.AlertReady, "%v", all)
	assert.NotContains(t, kinds, rise.AlertFalling, "%v", all)
	assert.NotContains(t, kinds, rise.AlertPast, "%v", all)
}
