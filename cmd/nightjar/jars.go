package main

import (
	"fmt"
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
	cmd := &cobra.Command{
		Use:   "add NAME --floor-mm DISTANCE --diameter-mm INSIDE",
		Short: "Add a jar, or a new version of one",
		Long: `Adds a jar by its measures. The floor distance is from the sensor's window straight down to the inside of the
floor, with the lid as it will be at night. One millimetre wrong there is three percent of rise at doubling over a sample
30 mm high: measure it well, and say with --u-floor-mm how well (the standard uncertainty).`,
		Example: "  nightjar jars add tall --floor-mm 142 --diameter-mm 71.5\n  nightjar jars add cup --floor-mm 120 --diameter-mm 60 --lean 0.12",
		Args:    exact("the jar's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, name := range []string{"floor-mm", "diameter-mm"} {
				if !cmd.Flags().Changed(name) {
					return misusef("measure it in millimetres; see nightjar jars add --help", "--%s is missing", name)
				}
			}
			j.Name, j.Profile.Shape = args[0], rise.ShapeCylinder
			if cmd.Flags().Changed("lean") {
				j.Profile.Shape = rise.ShapeCone
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
	cmd.Flags().StringVar(&j.Note, "note", "", "words to keep with it")
	return cmd
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
			var j rise.Jar
			if err := p.call(cmd.Context(), reads, api.PathJar, nil, &j, args[0]); err != nil {
				return err
			}
			return p.print(f, j, func() {
				fmt.Fprintf(p.stdout, "jar %s@%d, made %s\n  %s\n", j.Name, j.Version, j.Made.Local().Format("2 Jan 2006"), prose.Jar(j))
				if j.Note != "" {
					fmt.Fprintf(p.stdout, "  %s\n", j.Note)
				}
			})
		},
	}
	f.flag(cmd)
	return cmd
}
