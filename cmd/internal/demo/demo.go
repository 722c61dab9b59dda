package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"
	"periph.io/x/conn/v3/i2c"

	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/daemon"
	"nightjar/cmd/internal/watch"
	"nightjar/notify/bell"
	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/ambient"
	"nightjar/sensor/ds18b20"
	"nightjar/sensor/sim"
	"nightjar/sensor/sim/scenario"
)

// Options are how a demo is shown.
type Options struct {
	Scenario scenario.Scenario
	// Speed is how many simulated seconds pass in a real one; 0 is as many as can.
	Speed float64
	// Once ends after the ready alert was received.
	Once bool
	// Dir keeps the store and the simulated time; empty is a temporary folder.
	Dir string
	// Out is where the night is told; Live tells that it is a terminal, for a line that is kept up to date.
	Out  io.Writer
	Live bool
	// Every is the simulated time between two lines where Out is no terminal; 0 is 30 min.
	Every time.Duration
	// Zone is that of the times shown; nil is the machine's.
	Zone *time.Location
	// Ranger makes a chip's driver.
	Ranger  func(chip string, bus i2c.Bus, address uint16, clock sensor.Clock) (sensor.Ranger, error)
	Version string
	Log     *slog.Logger
}

// ErrNotReached is returned by a demo that was to end at the ready alert when the night ends without one.
var ErrNotReached = errors.New("the target was not reached in this night")

// night is a demo being shown.
type night struct {
	o     Options
	dir   string
	clock *sim.Clock
	world *scenario.World
	cfg   config.Config
	past  past

	ctx   context.Context // of the whole show
	up    daemon.Up
	rang  chan struct{} // closed when the phone got the ready alert
	ring  sync.Once
	holds holds
	say   *teller
}

// Run shows the night until it ends, the ready alert was received (Once), or ctx ends.
func Run(ctx context.Context, o Options) error {
	n := &night{o: o, rang: make(chan struct{})}
	if o.Log == nil {
		n.o.Log = slog.New(slog.DiscardHandler)
	}
	n.say = &teller{w: o.Out, live: o.Live, zone: o.Zone}
	if n.say.zone == nil {
		n.say.zone = time.Local
	}
	if err := n.prepare(); err != nil {
		return err
	}
	if o.Dir == "" {
		defer os.RemoveAll(n.dir)
	}
	return n.show(ctx)
}

// prepare builds the world, or finds the one that a killed demo left.
func (n *night) prepare() (err error) {
	n.dir = n.o.Dir
	if n.dir == "" {
		n.dir, err = os.MkdirTemp("", "nightjar-demo-")
	} else {
		err = os.MkdirAll(n.dir, 0o755)
	}
	if err != nil {
		return fmt.Errorf("demo folder: %w", err)
	}
	if n.past, err = loadPast(n.dir, n.o.Scenario); err != nil {
		return err
	}
	n.clock = sim.NewClock(n.past.Wall, n.past.Boot)
	n.clock.Pace(n.o.Speed)
	if n.world, err = n.o.Scenario.Build(n.clock, n.dir); err != nil {
		return err
	}
	n.cfg = config.Default()
	n.cfg.Device.Name = "demo"
	n.cfg.MQTT.Listen = "127.0.0.1:0" // a free port
	// The phone gets everything at the moment at which it happens, and rings once.
	n.cfg.Alerts.QuietFrom, n.cfg.Alerts.QuietTo, n.cfg.Alerts.Rings = bell.Hour{}, bell.Hour{}, 1
	n.cfg.Stations = n.cfg.Stations[:0]
	for _, s := range n.world.Stations {
		c := config.Default().Stations[0]
		c.Name, c.Chip, c.Bus, c.Address = s.Name, s.Chip, s.Bus, s.Address
		c.JarProbe, c.DoughProbe, c.RoomProbe = s.JarProbe, s.DoughProbe, s.RoomProbe
		n.cfg.Stations = append(n.cfg.Stations, c)
	}
	return nil
}

// stations builds the real drivers over the simulated world.
func (n *night) stations() ([]watch.Station, error) {
	var stations []watch.Station
	wire := ds18b20.New(n.world.Probes, n.clock, nil)
	probe := func(id string) (sensor.Thermometer, error) {
		if id == "" {
			return nil, nil
		}
		p, err := wire.Probe(id)
		if err != nil {
			return nil, err // not a nil *Probe in an interface
		}
		return p, nil
	}
	for i, s := range n.world.Stations {
		bus, err := n.world.Open(s)
		if err != nil {
			return nil, fmt.Errorf("station %s: %w", s.Name, err)
		}
		ranger, err := n.o.Ranger(s.Chip, bus, s.Address, n.clock)
		if err != nil {
			return nil, fmt.Errorf("station %s: %w", s.Name, err)
		}
		w := watch.Station{Name: s.Name, Ranger: ranger, Every: n.cfg.Stations[i].Every, Ranges: n.cfg.Stations[i].Ranges}
		var bad [3]error
		w.Jar, bad[0] = probe(s.JarProbe)
		w.Dough, bad[1] = probe(s.DoughProbe)
		w.Room, bad[2] = probe(s.RoomProbe)
		if err := errors.Join(bad[:]...); err != nil {
			return nil, fmt.Errorf("station %s: %w", s.Name, err)
		}
		if n.world.RoomSensor != "" {
			w.Humidity = ambient.New(n.world.Sys, n.world.RoomSensor)
		}
		stations = append(stations, w)
	}
	return stations, nil
}

// show runs the daemon and the phone, and tells the night.
func (n *night) show(ctx context.Context) error {
	stations, err := n.stations()
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	n.ctx = context.WithoutCancel(ctx)
	group, ctx := errgroup.WithContext(ctx)
	awake := n.clock.Hold() // until everything listens
	up := make(chan daemon.Up, 1)
	group.Go(func() error {
		return daemon.Run(ctx, daemon.Options{
			Config: n.cfg, Store: filepath.Join(n.dir, "nightjar.db"), Socket: filepath.Join(n.dir, "nightjar.sock"),
			Version: n.o.Version, Clock: n.clock, BootID: n.past.BootID, Synced: func() bool { return true }, Zone: n.say.zone,
			Stations: stations, Ready: func(u daemon.Up) { up <- u }, Queued: n.queued, Settled: n.settled, Log: n.o.Log,
		})
	})
	group.Go(func() error {
		defer stop()
		select {
		case n.up = <-up:
		case <-ctx.Done():
			return nil
		}
		return n.tell(ctx, awake)
	})
	return group.Wait()
}

// tell starts the run, switches the phone on, lets time pass and says how it went.
func (n *night) tell(ctx context.Context, awake func()) error {
	defer awake()
	hangUp, err := n.phone(ctx)
	if err != nil {
		return err
	}
	defer hangUp()
	runs, err := n.begin(ctx)
	if err != nil {
		return err
	}
	n.say.opening(n, runs)
	leave := n.clock.Join()
	defer leave()
	awake()
	err = n.pass(ctx, runs)
	hold := n.clock.Hold() // the end is told at the moment at which it came
	defer hold()
	n.say.closing(n, runs)
	if errors.Is(err, context.Canceled) {
		return errors.Join(n.keep(), nil)
	}
	return errors.Join(err, n.keep())
}

// pass lets time pass, telling now and then how it stands.
func (n *night) pass(ctx context.Context, runs []rise.Run) error {
	every := n.o.Every
	switch {
	case n.o.Live:
		every = 2 * time.Minute
	case every <= 0:
		every = 30 * time.Minute
	}
	for n.world.Elapsed() < n.world.Length {
		// Until the next line, a wake-up a minute keeps the end close to the ring.
		for left := every; left > 0; left -= time.Minute {
			if err := n.clock.Sleep(ctx, min(left, time.Minute)); err != nil {
				return err
			}
			select {
			case <-n.rang:
				if n.o.Once {
					return nil
				}
			default:
			}
		}
		n.say.standing(n, runs)
		if err := n.keep(); err != nil {
			return err
		}
	}
	if n.o.Once {
		return ErrNotReached
	}
	return nil
}

// queued holds the clock until the alert that was just stored has been received.
func (n *night) queued(rise.Alert) { n.holds.push(n.clock.Hold()) }

// settled lets the clock go on.
func (n *night) settled(rise.Delivery, int) { n.holds.pop() }

// holds are the reasons for which the clock stands still.
type holds struct {
	mu   sync.Mutex
	list []func()
}

func (h *holds) push(release func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.list = append(h.list, release)
}

func (h *holds) pop() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.list) > 0 {
		h.list[0]()
		h.list = h.list[1:]
	}
}

// exists reports whether a file is there.
func exists(path string) bool {
	_, err := os.Stat(path)
	return !errors.Is(err, fs.ErrNotExist)
}
