package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/calibrate"
	"nightjar/cmd/internal/client"
	"nightjar/rise"
)

func (p *program) calibrateCommand() *cobra.Command {
	d := calibrate.Dialog{Now: time.Now}
	var poured string
	cmd := &cobra.Command{
		Use:   "calibrate NAME --diameter-mm INSIDE",
		Short: "Calibrate a jar with its sensor, step by step",
		Long: `Leads through the calibration of a jar, in a quarter of an hour, most of it waiting: the sensor warms up, a matte
white card is ranged on the floor and on two stacks measured by ruler, the lid is lifted and put back three times.
That finds the floor distance, what walls and window do to the range, and how well the sensor comes back to its
place; and it ends by saying what the jar can do. Breaking off (Ctrl-C) changes nothing.

The glass must be empty and dry. A clear liquid is no target: never calibrate on water.`,
		Example: "  nightjar calibrate tall --diameter-mm 71.5",
		Args:    exact("the jar's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			d.Jar.Name = args[0]
			if err := shape(cmd, &d.Jar.Profile, poured); err != nil {
				return err
			}
			d.In, d.Out, d.Live = p.stdin, p.stdout, isTerminal(p.stdout)
			return p.withStation(cmd.Context(), &d.Station, makes, func(c *client.Client) error {
				d.API = desked{c}
				return d.Run(cmd.Context())
			})
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&d.Station, "station", "", "whose sensor measures; may be left out where there is only one")
	fs.Float64Var(&d.Jar.Profile.DiameterMM, "diameter-mm", 0, "inner diameter, mm; of a cone at its floor")
	fs.Float64Var(&d.Jar.Profile.Lean, "lean", 0, "for a cone: growth of the radius per growth of height, mm per mm")
	fs.StringVar(&poured, "poured", "", "a poured glass: LEVEL:ML,LEVEL:ML,... in mm and ml")
	fs.StringVar(&d.Jar.Note, "note", "", "words to keep with it")
	fs.Float64Var(&d.CardMM, "card-mm", 0.3, "the card's thickness, mm")
	fs.Float64Var(&d.BaseMM, "base-mm", 30, "a usual sample's settled height, mm")
	fs.Float64Var(&d.Target, "target", 2, "a usual target")
	fs.DurationVar(&d.Warm, "warm", 10*time.Minute, "how long the sensor warms up first")
	fs.DurationVar(&d.Least, "look", 30*time.Second, "how long each target is looked at, at least")
	return cmd
}

func (p *program) tareCommand() *cobra.Command {
	var f format
	var station string
	var t api.Tare
	eye := calibrate.Eye{WantMM: 0.1, Now: time.Now}
	cmd := &cobra.Command{
		Use:   "tare --disc-mm THICKNESS",
		Short: "Find the floor distance for one run: the empty jar is in place",
		Long: `Ranges a matte white disc of known thickness on the floor of the empty jar and works out how far the floor is with the
sensor as it stands now. Give the result to the run: nightjar start --floor-mm ... --u-floor-mm ...

A bare glass floor is not seen: the light goes through it to the table. Without a tare a run counts with how well the
sensor came back to its place when the jar was calibrated. The settled dough's height by ruler (start --ruler-mm) is
better than any distance.`,
		Example: "  nightjar tare --jar tall --disc-mm 2",
		Args:    exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			var done api.Tared
			err := p.withStation(cmd.Context(), &station, writes, func(c *client.Client) error {
				eye.Burst = func(ctx context.Context) (rise.Burst, error) { return desked{c}.Burst(ctx, station) }
				a, err := eye.Look(cmd.Context())
				if err != nil {
					return err
				}
				t.RangeMM, t.URangeMM = a.RangeMM, a.UMM
				return c.Call(cmd.Context(), api.PathTare, t, &done)
			})
			if err != nil {
				return err
			}
			return p.print(f, done, func() {
				fmt.Fprintf(p.stdout, "floor %.2f ± %.2f mm for this run; the jar has %.2f\n", done.FloorMM, 2*done.UFloorMM, done.Jar.FloorMM)
				fmt.Fprintf(p.stdout, "take the disc out, fill the jar, then:\n  nightjar start --jar %s --floor-mm %.2f --u-floor-mm %.2f\n", done.Jar.Name, done.FloorMM, done.UFloorMM)
			})
		},
	}
	f.flag(cmd)
	cmd.Flags().StringVar(&station, "station", "", "whose sensor measures; may be left out where there is only one")
	cmd.Flags().StringVar(&t.Jar, "jar", "", "the jar; may be left out where there is only one")
	cmd.Flags().Float64Var(&t.DiscMM, "disc-mm", 0, "the disc's thickness, mm")
	cmd.Flags().DurationVar(&eye.Least, "look", 30*time.Second, "how long to look, at least")
	return cmd
}

// withStation is api with a station's name filled in where there is only one.
func (p *program) withStation(ctx context.Context, station *string, a access, f func(*client.Client) error) error {
	cfg, err := p.config()
	if err != nil {
		return err
	}
	if *station == "" && len(cfg.Stations) > 1 {
		return misusef("name one with --station", "there are several stations: which one?")
	}
	if *station == "" {
		*station = cfg.Stations[0].Name
	}
	return p.api(ctx, a, f)
}

// desked asks the desk on behalf of a calibration.
type desked struct{ c *client.Client }

func (d desked) Burst(ctx context.Context, station string) (b rise.Burst, err error) {
	err = d.c.Call(ctx, api.PathBurst, nil, &b, station)
	return b, err
}

func (d desked) Fit(ctx context.Context, c api.Calibration) (out api.Calibrated, err error) {
	err = d.c.Call(ctx, api.PathFit, c, &out)
	return out, err
}

func (d desked) AddJar(ctx context.Context, j rise.Jar) (out rise.Jar, err error) {
	err = d.c.Call(ctx, api.PathAddJar, j, &out)
	return out, err
}
