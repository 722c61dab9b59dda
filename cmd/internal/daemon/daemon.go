package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/desk"
	"nightjar/cmd/internal/machine"
	"nightjar/cmd/internal/watch"
	"nightjar/cmd/internal/web"
	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/store"
)

// Options are what a daemon is made of. What is not said to be optional must be set.
type Options struct {
	Config config.Config
	// Store and Socket are paths, as resolved from the configuration, the flags and the environment.
	Store, Socket string
	Version       string
	Clock         sensor.Clock
	// BootID is the kernel's id of this boot.
	BootID string
	// Synced tells whether the wall clock is known to be set; nil is never.
	Synced func() bool
	// Zone is that of clock times in alerts; nil is UTC.
	Zone *time.Location
	// Stations are the configured ones, ready to be read.
	Stations []watch.Station
	// Supervisor is who started the process; its zero value is nobody.
	Supervisor machine.Supervisor
	// Ready, if set, is called once the store is open, the socket listens and the loops are about to start.
	Ready func(Up)
	// Queued, if set, is called when an alert was stored for delivery.
	Queued func(rise.Alert)
	// Settled, if set, is told of each alert that was delivered or given up.
	Settled func(d rise.Delivery, attempts int)
	// Log is nil for silence.
	Log *slog.Logger
}

// Up is a daemon that runs.
type Up struct {
	// Desk does what people ask.
	Desk *desk.Desk
	// Broker is the address, host:port, of the embedded broker; empty where there is none.
	Broker string
}

// daemon is one being run.
type daemon struct {
	o     Options
	log   *slog.Logger
	db    *store.DB
	watch *watch.Watch
	desk  *desk.Desk
	out   out
}

// Run runs a daemon until ctx ends and then stops it in order. It returns nil after an orderly stop. An error before
// Ready was called says what is missing to start at all.
func Run(ctx context.Context, o Options) error {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	d := &daemon{o: o, log: o.Log}
	db, err := store.Open(o.Store, store.Options{BootID: o.BootID, Device: o.Config.Device.Name, Log: o.Log, Now: d.now, Repair: true})
	if err != nil {
		return err
	}
	d.db = db
	return errors.Join(d.run(ctx), db.Close())
}

func (d *daemon) run(ctx context.Context) error {
	if err := d.assemble(); err != nil {
		return err
	}
	socket, err := web.Listen(d.o.Socket)
	if err != nil {
		return errors.Join(err, d.out.close())
	}
	handler := web.NewHandler(d.desk, d.log)

	// The parts that others rely on outlive those that rely on them.
	outCtx, stopOut := context.WithCancel(context.WithoutCancel(ctx))
	defer stopOut()
	group, loops := errgroup.WithContext(ctx)
	group.Go(func() error { return d.out.run(outCtx) })
	group.Go(func() error { return web.Serve(outCtx, socket, handler, d.log) })
	group.Go(func() error { d.feedWatchdog(outCtx); return nil })
	if d.o.Ready != nil {
		d.o.Ready(Up{Desk: d.desk, Broker: d.out.addr()})
	}
	if err := d.o.Supervisor.Ready("watching " + strings.Join(d.watch.Stations(), ", ")); err != nil {
		d.log.Warn("tell the service manager", "err", err)
	}
	group.Go(func() error {
		defer stopOut()
		err := d.watch.Run(loops)
		if err := d.o.Supervisor.Stopping(); err != nil {
			d.log.Warn("tell the service manager", "err", err)
		}
		return err
	})
	return group.Wait()
}

// assemble makes the parts; nothing runs yet but the embedded broker's port is open.
func (d *daemon) assemble() error {
	d.out.d = d
	if err := d.out.open(); err != nil {
		return err
	}
	w, err := watch.New(watch.Options{
		Clock: d.o.Clock, Store: d.db, Stations: d.o.Stations, Publisher: &d.out, Routes: d.out.prints, Policy: d.o.Config.Alerts.Policy(),
		Synced: d.o.Synced, Zone: d.o.Zone, FlushRun: d.o.Config.Store.FlushRun, FlushIdle: d.o.Config.Store.FlushIdle,
		Damage: d.damage, Log: d.log,
	})
	if err != nil {
		return errors.Join(err, d.out.close())
	}
	d.watch = w
	d.desk = &desk.Desk{
		Store: d.db, Live: w, Wake: w.CanWake, Clock: d.o.Clock, Device: d.db.Device(), Version: d.o.Version, Stations: d.o.Config.Stations, Alerts: d.o.Config.Alerts,
	}
	d.out.report()
	return nil
}

// feedWatchdog tells the supervisor that the loops move, for as long as every one of them does.
func (d *daemon) feedWatchdog(ctx context.Context) {
	interval := d.o.Supervisor.Watchdog() / 3
	if interval <= 0 {
		return
	}
	var clock machine.Clock // the supervisor counts real time, whatever clock the stations have
	for clock.Sleep(ctx, interval) == nil {
		if stalled := d.watch.Stalled(); len(stalled) > 0 {
			d.log.Error("a station's loop hangs", "stations", stalled)
			continue
		}
		if err := d.o.Supervisor.Alive(); err != nil {
			d.log.Warn("tell the service manager", "err", err)
		}
	}
}

// damage says what of the store could not be read.
func (d *daemon) damage() string {
	if r := d.db.Repaired(); r != nil {
		return fmt.Sprintf("The store was damaged and has been copied as far as it can be read: %d records were copied, %d places are lost. The old file is kept as %s.",
			r.Copied, len(r.Damage), r.MovedTo)
	}
	if n := len(d.db.Damaged()); n > 0 {
		return fmt.Sprintf("%d places of the store are damaged and left out; everything else reads as written. nightjar store check lists them.", n)
	}
	return ""
}

// now is this moment as the store stamps it.
func (d *daemon) now() rise.Moment {
	if d.db == nil {
		return rise.Moment{}
	}
	s := rise.Stamp{Boot: d.db.Boot(), At: d.o.Clock.Boot()}
	wall, _ := d.db.Timeline().Wall(s)
	return rise.Moment{Stamp: s, Wall: wall}
}
