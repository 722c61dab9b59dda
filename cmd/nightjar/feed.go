package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

type feedOptions struct {
	actionFlags
	feed         rise.Feeding
	run          rise.Run
	flours       string
	temp, target float64
}

func (p *program) feedCommand() *cobra.Command {
	var o feedOptions
	cmd := &cobra.Command{
		Use:   "feed STARTER --seed-g KEPT --flour-g FLOUR --water-g WATER",
		Short: "Feed a starter, and watch it rise",
		Long: `Writes down what a starter was fed: the grams of ripe starter kept, of flour and of water. On a station it also
starts a run with a sample of the mix: you are told, quietly, when it comes near its peak, and what it shows goes into
the verdict on the starter (nightjar starters show). The feeding before, if it is still open there, ends.

Near the peak is nine tenths of the height this starter usually reaches; until that is known, doubling. --target says
otherwise.`,
		Example: `  nightjar feed gerta --seed-g 20 --flour-g 100 --water-g 100
  nightjar feed gerta --seed-g 10 --flour-g 50 --water-g 50 --flours wheat:0.8,rye:0.2 --temp-c 25
  nightjar feed gerta --seed-g 20 --flour-g 100 --water-g 50 --at "25m ago"`,
		Args: exact("the starter's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			a, err := o.action(cmd, args[0])
			if err != nil {
				return err
			}
			return p.do(cmd, o.actionFlags, a, fed)
		},
	}
	o.add(cmd, false)
	fs := cmd.Flags()
	fs.Float64Var(&o.feed.SeedG, "seed-g", 0, "ripe starter kept, g")
	fs.Float64Var(&o.feed.FlourG, "flour-g", 0, "flour, g")
	fs.Float64Var(&o.feed.WaterG, "water-g", 0, "water, g")
	fs.StringVar(&o.flours, "flours", "", "the flour's shares, such as wheat:0.8,rye:0.2; left out is its usual flour")
	fs.Float64Var(&o.temp, "temp-c", 0, "the temperature of the mix, °C")
	fs.StringVar(&o.run.Jar, "jar", "", "the jar, or JAR@VERSION; may be left out where there is only one")
	fs.Float64Var(&o.target, "target", 0, "the multiple at which to be told, if not near its peak")
	return cmd
}

// action is the feeding that the flags ask for.
func (o *feedOptions) action(cmd *cobra.Command, starter string) (rise.Action, error) {
	f := o.feed
	f.Starter = starter
	for _, name := range []string{"seed-g", "flour-g", "water-g"} {
		if !cmd.Flags().Changed(name) {
			return rise.Action{}, misusef("weigh it in grams; see "+cmd.CommandPath()+" --help", "--%s is missing", name)
		}
	}
	var err error
	if f.Flours, err = shares(o.flours); err != nil {
		return rise.Action{}, err
	}
	if cmd.Flags().Changed("temp-c") {
		f.TempC = rise.Known(o.temp)
	}
	o.run.Target = o.target
	return rise.Action{Kind: rise.ActionFeed, Feed: &f, Start: &o.run}, nil
}

// shares reads flours and their shares: "wheat:0.8,rye:0.2".
func shares(s string) (map[string]float64, error) {
	if s == "" {
		return nil, nil
	}
	out := map[string]float64{}
	for part := range strings.SplitSeq(s, ",") {
		name, share, ok := strings.Cut(strings.TrimSpace(part), ":")
		v, err := strconv.ParseFloat(share, 64)
		if !ok || err != nil || name == "" {
			return nil, misusef("write FLOUR:SHARE,FLOUR:SHARE,... whose shares add up to 1, such as wheat:0.8,rye:0.2", "--flours: %q is no share", part)
		}
		out[name] += v
	}
	return out, nil
}

func fed(done api.ActionDone) string {
	f := done.Action.Feed
	said := fmt.Sprintf("%s fed %s%s", f.Starter, f.Ratio(), since(done.Action.When))
	if r := done.Run; r != nil {
		said += fmt.Sprintf(": %s on station %s, near its peak at %s", title(*r), r.Station, prose.Target(r.Target))
	}
	return said
}
