package watch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"nightjar/notify/bell"
	"nightjar/rise"
	"nightjar/sensor"
)

// Store is what the loop needs of the store.
type Store interface {
	Boot() uint32
	Timeline() rise.Timeline
	Anchor(rise.Anchor) error
	Add(station string, r rise.Reading)
	Flush() error
	LastReading(station string) (rise.Reading, bool, error)
	OpenRun(station string) (rise.Run, bool, error)
	Case(run int) (rise.Case, error)
	Act(rise.Action) (rise.Action, *rise.Run, error)
	Expire(run int, at rise.Moment) (rise.Run, error)
	Issue(a rise.Alert, routes []string) (rise.Alert, bool, error)
	Alerts(station string, run int) ([]rise.Alert, error)
	Active(station string) ([]rise.Alert, error)
}

// Publisher carries states and alerts out. Its methods return at once.
type Publisher interface {
	// State publishes a station's newest state; an older one that still waits is replaced.
	State(station string, payload []byte)
	// Alert tells that an alert was stored for delivery.
	Alert(rise.Alert)
	// Answered tells that a person did something, and whether no alert waits for an answer any more.
	Answered(nothingActive bool)
}

// Station is one watched place, ready to be read.
type Station struct {
	Name   string
	Ranger sensor.Ranger
	// Bus names the bus of the ranger: stations that share it share its troubles. Empty is a bus of its own.
	Bus string
	// Jar, Dough and Room are the probes; nil where there is none.
	Jar, Dough, Room sensor.Thermometer
	// Humidity is the room's relative humidity; nil where it is not measured.
	Humidity sensor.Hygrometer
	// Every is the time between two ticks, Ranges the number of single ranges in a burst.
	Every  time.Duration
	Ranges int
}

// Options is what a Watch is made of. Clock, Store and Stations are needed.
type Options struct {
	// Clock may have a method Join() (leave func()), as sim.Clock has: each loop then joins it.
	Clock    sensor.Clock
	Store    Store
	Stations []Station
	// Publisher is nil where nothing is published.
	Publisher Publisher
	// Routes are the ways out of the door that an alert is queued for, with a fingerprint of each one's configuration.
	Routes map[string]string
	// Policy is when people are woken; its zero value is bell.Default.
	Policy bell.Policy
	// Synced tells whether the wall clock is known to be set; nil is never.
	Synced func() bool
	// Zone is the zone of clock times in alert texts; nil is UTC.
	Zone *time.Location
	// FlushRun is the longest time that readings stay in memory during a run (0 is 2 min), FlushIdle otherwise (10 min).
	FlushRun, FlushIdle time.Duration
	// Damage says in a sentence what of the store could not be read; empty is nothing, nil is nobody who knows.
	Damage func() string
	// Log is nil for silence.
	Log *slog.Logger
}

// Watch watches the stations.
type Watch struct {
	o        Options
	log      *slog.Logger
	stations []*station
	byName   map[string]*station
	routes   []string
	anchors  anchors
	health   health
	claimsMu sync.Mutex
	claims   map[string]string // who tells of a shared trouble, by what is shared
	flushMu  sync.Mutex
	flushed  time.Duration
}

// New checks the options. It starts nothing, but its loops join a clock that wants that, so that time stands still
// until Run is called.
func New(o Options) (*Watch, error) {
	if o.Clock == nil || o.Store == nil || len(o.Stations) == 0 {
		return nil, errors.New("a watch needs a clock, a store and a station")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	if o.Synced == nil {
		o.Synced = func() bool { return false }
	}
	o.FlushRun = orDefault(o.FlushRun, 2*time.Minute)
	o.FlushIdle = orDefault(o.FlushIdle, 10*time.Minute)
	if o.Policy.Every == 0 {
		o.Policy = bell.Default()
	}
	w := &Watch{o: o, routes: slices.Sorted(maps.Keys(o.Routes)), log: o.Log.With("part", "watch"), byName: map[string]*station{}, claims: map[string]string{}}
	w.health.clock = o.Clock
	for _, c := range o.Stations {
		if _, twice := w.byName[c.Name]; twice {
			return nil, fmt.Errorf("two stations are named %q", c.Name)
		}
		if c.Ranger == nil || c.Every <= 0 || c.Ranges <= 0 {
			return nil, fmt.Errorf("station %q needs a ranger, a tick and a number of ranges", c.Name)
		}
		s := &station{Station: c, w: w}
		w.stations = append(w.stations, s)
		w.byName[c.Name] = s
	}
	for _, s := range w.stations {
		s.leave = w.join()
	}
	return w, nil
}

func orDefault(d, def time.Duration) time.Duration {
	if d <= 0 {
		return def
	}
	return d
}

// Run watches, once, until ctx ends, then puts the rangers to rest, flushes the store and returns nil. An error means that
// the store cannot be read: no watching is possible then.
func (w *Watch) Run(ctx context.Context) error {
	w.observeClock()
	for _, s := range w.stations {
		if err := s.resume(); err != nil {
			w.leave()
			return fmt.Errorf("station %s: %w", s.Name, err)
		}
	}
	var group sync.WaitGroup
	for _, s := range w.stations {
		group.Go(func() {
			defer s.leave()
			s.loop(ctx)
		})
	}
	group.Wait()
	w.observeClock()
	return w.flush()
}

func (w *Watch) join() (leave func()) {
	if j, ok := w.o.Clock.(interface{ Join() (leave func()) }); ok {
		return j.Join()
	}
	return func() {}
}

func (w *Watch) leave() {
	for _, s := range w.stations {
		s.leave()
	}
}

// now is this moment as a stamp and as wall time.
func (w *Watch) now() (rise.Moment, rise.TimeQuality) {
	s := rise.Stamp{Boot: w.o.Store.Boot(), At: w.o.Clock.Boot()}
	wall, q := w.o.Store.Timeline().Wall(s)
	return rise.Moment{Stamp: s, Wall: wall}, q
}

// observeClock notes an anchor if one is due and has the runs folded again if it moved the timeline.
func (w *Watch) observeClock() {
	a := rise.Anchor{
		Stamp:  rise.Stamp{Boot: w.o.Store.Boot(), At: w.o.Clock.Boot()},
		Wall:   w.o.Clock.Wall(),
		Synced: w.o.Synced(),
	}
	due, moved := w.anchors.observe(a)
	if !due {
		return
	}
	if err := w.o.Store.Anchor(a); err != nil {
		w.storeTrouble(err)
		return
	}
	if moved {
		w.log.Info("the clock was set", "wall", a.Wall, "synced", a.Synced)
		for _, s := range w.stations {
			s.outdated.Store(true)
		}
	}
}

// flush commits the gathered readings.
func (w *Watch) flush() error {
	w.flushMu.Lock()
	defer w.flushMu.Unlock()
	w.flushed = w.o.Clock.Boot()
	err := w.o.Store.Flush()
	w.storeTrouble(err)
	if w.o.Damage != nil {
		if text := w.o.Damage(); text != "" {
			w.health.raise("damage", "", text)
		}
	}
	return err
}

// flushIfDue commits the gathered readings if they have waited long enough.
func (w *Watch) flushIfDue(inRun bool) {
	limit := w.o.FlushIdle
	if inRun {
		limit = w.o.FlushRun
	}
	w.flushMu.Lock()
	due := w.o.Clock.Boot()-w.flushed >= limit
	w.flushMu.Unlock()
	if due {
		_ = w.flush() // told as a health condition; the readings stay in memory
	}
}

// storeTrouble tells that the store could not be written, or, with nil, that it could.
func (w *Watch) storeTrouble(err error) {
	if err == nil {
		w.health.clear("store", "")
		return
	}
	if w.health.raise("store", "", "Readings cannot be written to the card: "+err.Error()+". They are kept in memory meanwhile.") {
		w.log.Error("write the store", "err", err)
	}
}
