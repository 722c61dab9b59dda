package main

import (
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/replay"
	"nightjar/rise"
)

type replayOptions struct {
	replay.Options
	jar, format           string
	floor, uFloor, across float64
}

func (p *program) replayCommand() *cobra.Command {
	var o replayOptions
	cmd := &cobra.Command{
		Use:   "replay FILE...",
		Short: "Show what would have been told along a recording",
		Long: `Replays recordings as if they were being measured now: CSV with the columns time (RFC 3339, or seconds from the
start) and range_mm or level_mm, or the JSON of nightjar export. Each line uses only the readings up to its own time.

Distances (range_mm) need a jar: --floor-mm and --diameter-mm, or --jar NAME from the store. Levels need none.`,
		Example: `  nightjar replay loaf.csv --floor-mm 142 --diameter-mm 71
  nightjar replay school.csv --target 1.25 --every 10m
  nightjar replay tonight.json --past monday.json --past friday.json --format jsonl`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return misusef("see nightjar replay --help", "the recording is missing")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Files = args
			if err := o.finalize(cmd, p); err != nil {
				return err
			}
			return replay.Run(cmd.Context(), p.stdout, o.Options)
		},
	}
	fs := cmd.Flags()
	fs.Float64Var(&o.floor, "floor-mm", 0, "distance from the sensor to the inside of the jar's floor, mm")
	fs.Float64Var(&o.uFloor, "u-floor-mm", 0.5, "standard uncertainty of that distance, mm")
	fs.Float64Var(&o.across, "diameter-mm", 0, "the jar's inner diameter, mm")
	fs.StringVar(&o.jar, "jar", "", "a jar from the store, instead of its measures")
	fs.Float64Var(&o.Target, "target", 0, "the multiple to reach (default the recording's own, or 2)")
	fs.StringArrayVar(&o.Past, "past", nil, "an earlier run of the same starter to learn from; may be given several times")
	fs.DurationVar(&o.Every, "every", 5*time.Minute, "how often a line is written; alerts always are")
	fs.StringVar(&o.format, "format", "text", "text or jsonl")
	return cmd
}

// finalize checks the flags and finds the jar.
func (o *replayOptions) finalize(cmd *cobra.Command, p *program) error {
	if o.format != "text" && o.format != "jsonl" {
		return misusef("text or jsonl", "--format: there is no format %q", o.format)
	}
	if o.Every < 0 {
		return misusef("write it as 5m, or 0 for every reading", "--every cannot be negative")
	}
	o.JSON = o.format == "jsonl"
	measured := cmd.Flags().Changed("floor-mm") || cmd.Flags().Changed("diameter-mm")
	switch {
	case o.jar != "" && measured:
		return misusef("leave one of them out", "--jar names a jar; --floor-mm and --diameter-mm measure another")
	case o.jar != "":
		return p.call(cmd.Context(), reads, api.PathJar, nil, &o.Jar, o.jar)
	case measured:
		o.Jar = rise.Jar{Name: "of the flags", FloorMM: o.floor, UFloorMM: o.uFloor, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: o.across}}
		if err := o.Jar.Check(); err != nil {
			return misusef("give both --floor-mm and --diameter-mm", "%w", err)
		}
	}
	return nil
}
