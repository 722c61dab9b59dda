package main

import (
	"errors"
	"fmt"
	"log/slog"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"
	"periph.io/x/conn/v3/i2c"

	"nightjar/cmd/internal/demo"
	"nightjar/sensor"
	"nightjar/sensor/sim/scenario"
)

func (p *program) demoCommand() *cobra.Command {
	var (
		o       demo.Options
		file    string
		verbose bool
	)
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Show a simulated night at high speed, from the first reading to the alert",
		Long: `Shows a whole night in a minute: a simulated dough under simulated chips, read by the real drivers, watched
by the real loop into a real store (in a folder of its own that is deleted at the end), and told over the
embedded broker to a subscriber that prints what a phone would get. Nothing on this machine is touched.

With --once it ends after the ready alert, as fast as this machine can.
A scenario file describes another night: its kitchen, its dough, its chips and what goes wrong.`,
		Example: `  nightjar demo
  nightjar demo --once
  nightjar demo --speed 3600 --dir ~/demo-night`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.Speed < 0 {
				return misusef("0 is as fast as this machine can, 600 shows ten minutes a second", "--speed %g cannot be", o.Speed)
			}
			if !cmd.Flags().Changed("speed") && o.Once {
				o.Speed = 0
			}
			var err error
			if o.Scenario, err = loadScenario(file); err != nil {
				return err
			}
			o.Out, o.Version, o.Ranger = p.stdout, version(), demoRanger
			o.Live = isTerminal(p.stdout)
			if verbose {
				o.Log = slog.New(slog.NewTextHandler(p.stderr, nil))
			}
			return demo.Run(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.Once, "once", false, "end after the ready alert")
	cmd.Flags().Float64Var(&o.Speed, "speed", 600, "simulated seconds in a real one; 0 is as fast as this machine can (with --once the default)")
	cmd.Flags().StringVar(&file, "scenario", "", "a file that describes another night (TOML)")
	cmd.Flags().StringVar(&o.Dir, "dir", "", "keep the store and the simulated time in this folder: a demo that is killed goes on from there")
	cmd.Flags().BoolVar(&verbose, "verbose", false, "show the daemon's own log on standard error")
	return cmd
}

// loadScenario reads a scenario's file, or takes the built-in one.
func loadScenario(path string) (scenario.Scenario, error) {
	if path == "" {
		return scenario.Default(), nil
	}
	f, err := os.Open(path)
	if err != nil {
		return scenario.Scenario{}, err
	}
	s, err := scenario.Load(f)
	if err = errors.Join(err, f.Close()); err != nil {
		return s, fmt.Errorf("%s: %w", path, err)
	}
	return s, nil
}

// isTerminal reports whether w is a terminal.
func isTerminal(w any) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// demoRanger makes the driver of a simulated chip.
func demoRanger(chip string, bus i2c.Bus, address uint16, clock sensor.Clock) (sensor.Ranger, error) {
	return newRanger(chip, bus, address, rangerOpts{clock: clock})
}
