package main

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/daemon"
	"nightjar/cmd/internal/machine"
)

func (p *program) watchCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "watch",
		Short: "Watch the stations: the service itself",
		Long: `Reads every station on its tick, keeps the readings, works out how far each dough has risen and when it will be
ready, and tells it over MQTT. It runs until it is stopped (Ctrl-C, SIGTERM), and carries on where it was when it is
started again. Normally the system starts it: systemctl start nightjar.

A sensor, a probe or a broker that is missing is told and waited for; it never ends the watching.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := p.config()
			if err != nil {
				return err
			}
			log := slog.New(slog.NewTextHandler(p.stderr, nil))
			root := os.DirFS("/")
			boot, err := machine.BootID(root)
			if err != nil {
				return err
			}
			var clock machine.Clock
			hw := newHardware(clock)
			stations, err := hw.stations(cfg.Stations)
			if err != nil {
				return errors.Join(err, hw.close())
			}
			o := daemon.Options{
				Config: cfg, Store: p.places.store(cfg), Socket: p.places.socket(cfg), Version: version(), Clock: clock, BootID: boot,
				Synced: func() bool { return machine.ClockSynced(root) }, Zone: time.Local, Stations: stations,
				Supervisor: machine.NewSupervisor(p.getenv), Log: log,
			}
			for _, path := range []string{o.Store, o.Socket} {
				if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
					return errors.Join(fmt.Errorf("make a folder for %s: %w", path, err), hw.close())
				}
			}
			o.Ready = func(up daemon.Up) {
				log.Info("watching", "store", o.Store, "socket", o.Socket, "broker", up.Broker, "version", o.Version)
			}
			return errors.Join(daemon.Run(cmd.Context(), o), hw.close())
		},
	}
}
