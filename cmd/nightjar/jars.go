package main

import (
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

func (p *program) jarsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "jars",
		Short: "List, show and add jars",
		Long: `A jar is a straight glass whose inside was measured once: how far its floor is from the sensor, and its inner
diameter. Measuring it again makes a new version; runs keep the version they had.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(p.jarsAddCommand(), p.jarsListCommand(), p.jarsShowCommand())
	return cmd
}

func (p *program) jarsAddCommand() *cobra.Command {
	var f format
	var j rise.Jar
	var poured string
	cmd := &cobra.Command{
		Use:   "add NAME --floor-mm DISTANCE --diameter-mm INSIDE",
		Short: "Add a jar, or a new version of one",
		Long: `Adds a jar by its measures. The floor distance is from the sensor's window straight down to the inside of the
floor, with the lid as it will be at night. One millimetre wrong there is three percent of rise at doubling over a sample
30 mm high: measure it well, and say with --u-floor-mm how well (the standard uncertainty). nightjar calibrate leads
through a better way.

A glass of any shape is described by pouring water into it on a kitchen scale in steps of 50 g, each level read by
ruler: --poured LEVEL:ML,LEVEL:ML,...`,
		Example: `  nightjar jars add tall --floor-mm 142 --diameter-mm 71.5
  nightjar jars add cup --floor-mm 120 --diameter-mm 60 --lean 0.12
  nightjar jars add goblet --floor-mm 130 --poured 12.5:50,24:100,34.5:150,44:200`,
		Args: exact("the jar's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			j.Name = args[0]
			if err := shape(cmd, &j.Profile, poured); err != nil {
				return err
			}
			var stored rise.Jar
			if err := p.call(cmd.Context(), makes, api.PathAddJar, j, &stored); err != nil {
				return err
			}
			return p.print(f, stored, func() {
				fmt.Fprintf(p.stdout, "jar %s@%d: %s\n", stored.Name, stored.Version, prose.Jar(stored))
			})
		},
	}
	f.flag(cmd)
	cmd.Flags().Float64Var(&j.FloorMM, "floor-mm", 0, "distance from the sensor to the inside of the floor, mm")
	cmd.Flags().Float64Var(&j.UFloorMM, "u-floor-mm", 0.5, "standard uncertainty of that distance, mm")
	cmd.Flags().Float64Var(&j.Profile.DiameterMM, "diameter-mm", 0, "inner diameter, mm; of a cone at its floor")
	cmd.Flags().Float64Var(&j.Profile.Lean, "lean", 0, "for a cone: growth of the radius per growth of height, mm per mm")
	cmd.Flags().StringVar(&poured, "poured", "", "a poured glass: levels in mm and the volumes below them in ml")
	cmd.Flags().StringVar(&j.Note, "note", "", "words to keep with it")
	return cmd
}

// shape finds which shape the flags describe.
func shape(cmd *cobra.Command, pr *rise.Profile, poured string) error {
	needs := []string{"floor-mm", "diameter-mm"}
	pr.Shape = rise.ShapeCylinder
	switch {
	case cmd.Flags().Changed("poured"):
		needs, pr.Shape = needs[:1], rise.ShapePoured
		if err := pour(pr, poured); err != nil {
			return err
		}
	case cmd.Flags().Changed("lean"):
		pr.Shape = rise.ShapeCone
	}
	for _, name := range needs {
		if cmd.Flags().Lookup(name) != nil && !cmd.Flags().Changed(name) {
			return misusef("measure it in millimetres; see "+cmd.CommandPath()+" --help", "--%s is missing", name)
		}
	}
	return nil
}

// pour reads a poured table: "12.5:50,24:100".
func pour(pr *rise.Profile, poured string) error {
	for _, step := range strings.Split(poured, ",") {
		level, volume, ok := strings.Cut(strings.TrimSpace(step), ":")
		mm, err := strconv.ParseFloat(level, 64)
		ml, err2 := strconv.ParseFloat(volume, 64)
		if !ok || err != nil || err2 != nil {
			return misusef("write LEVEL:ML,LEVEL:ML,... in mm and ml, such as 12.5:50,24:100", "--poured: %q is no step", step)
		}
		pr.Points = append(pr.Points, rise.PouredPoint{LevelMM: mm, VolumeML: ml})
	}
	return nil
}

func (p *program) jarsListCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the jars",
		Args:  exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			var jars []rise.Jar
			if err := p.call(cmd.Context(), reads, api.PathJars, nil, &jars); err != nil {
				return err
			}
			return p.print(f, jars, func() {
				if len(jars) == 0 {
					fmt.Fprintln(p.stderr, "no jar yet: nightjar jars add")
					return
				}
				w := tabwriter.NewWriter(p.stdout, 0, 0, 2, ' ', 0)
				for _, j := range jars {
					fmt.Fprintf(w, "%s@%d\t%s\n", j.Name, j.Version, prose.Jar(j))
				}
				w.Flush()
			})
		},
	}
	f.flag(cmd)
	return cmd
}

func (p *program) jarsShowCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:     "show NAME[@VERSION]",
		Short:   "Show a jar",
		Example: "  nightjar jars show tall\n  nightjar jars show tall@1",
		Args:    exact("the jar's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var j api.JarShown
			if err := p.call(cmd.Context(), reads, api.PathJar, nil, &j, args[0]); err != nil {
				return err
			}
			return p.print(f, j, func() {
				fmt.Fprintf(p.stdout, "jar %s@%d, made %s\n  %s\n", j.Name, j.Version, j.Made.Local().Format("2 Jan 2006"), prose.Jar(j.Jar))
				for _, line := range append(j.CanDo, j.Note) {
					if line != "" {
						fmt.Fprintf(p.stdout, "  %s\n", line)
					}
				}
			})
		},
	}
	f.flag(cmd)
	return cmd
}
