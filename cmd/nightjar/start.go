package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

type startOptions struct {
	actionFlags
	run                                  rise.Run
	kind, ready                          string
	inoculation, hydration, salt, sample float64
	base, uBase, ruler, uRuler, dough    float64
	doughKg                              float64
	floor, uFloor, density               float64
	byMass                               bool
}

func (p *program) startCommand() *cobra.Command {
	var o startOptions
	cmd := &cobra.Command{
		Use:   "start [NAME]",
		Short: "Start a run: the sample is in the jar",
		Long: `Starts a run on a station: from now on (or from --at) its readings belong to this dough, and you are told when
it has risen to its target. NAME is what you call the dough; it may be left out.

Press the sample level with a wet finger, without voids, and wipe the walls. Fresh dough slumps: the rise is counted
from the level at which it has settled. --ruler-mm tells that height by a ruler at the glass, which is better than any
distance; --sample-g checks it. A run started late takes --at, or the settled height as --base-mm, or --base-by-mass.`,
		Example: `  nightjar start "country loaf" --jar tall --target 2
  nightjar start --at 20:15 --inoculation 15 --ready "tomorrow 07:00"
  nightjar start --kind starter --starter gerta --target 2.5`,
		Args: atMost(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.run.Name = args[0]
			}
			a, err := o.action(cmd)
			if err != nil {
				return err
			}
			return p.do(cmd, o.actionFlags, a, started)
		},
	}
	o.add(cmd, false)
	fs := cmd.Flags()
	fs.StringVar(&o.kind, "kind", "dough", "dough (bulk) or starter (after a feeding)")
	fs.StringVar(&o.run.Jar, "jar", "", "the jar, or JAR@VERSION; may be left out where there is only one")
	fs.Float64Var(&o.run.Target, "target", 0, "the multiple of the settled volume at which it is ready (default the recipe's, or 2)")
	fs.StringVar(&o.ready, "ready", "", `when you want it ready: 07:00, "tomorrow 07:00", "in 9h"`)
	fs.StringVar(&o.run.Starter, "starter", "", "the starter in it; its earlier runs make the forecast better")
	fs.StringVar(&o.run.Recipe, "recipe", "", "the recipe")
	fs.Float64Var(&o.inoculation, "inoculation", 0, "prefermented flour, % of all flour")
	fs.Float64Var(&o.hydration, "hydration", 0, "water, % of the flour")
	fs.Float64Var(&o.salt, "salt", 0, "salt, % of the flour")
	fs.Float64Var(&o.sample, "sample-g", 0, "the sample's mass, g")
	fs.BoolVar(&o.byMass, "base-by-mass", false, "take the base level from --sample-g: the sample has risen already")
	fs.Float64Var(&o.density, "density", 0, "the settled dough's density, g/ml (default 1.18)")
	fs.StringVar(&o.run.Flour, "flour", "", "wheat or rye: how the surface domes")
	fs.Float64Var(&o.ruler, "ruler-mm", 0, "the height of the settled sample by ruler, mm")
	fs.Float64Var(&o.uRuler, "u-ruler-mm", 0, "the standard uncertainty of that height, mm (default 0.5)")
	fs.Float64Var(&o.floor, "floor-mm", 0, "the floor distance for this run alone, from nightjar tare, mm")
	fs.Float64Var(&o.uFloor, "u-floor-mm", 0, "its standard uncertainty, mm")
	fs.Float64Var(&o.base, "base-mm", 0, "the base level itself, mm, instead of one found")
	fs.Float64Var(&o.uBase, "u-base-mm", 0, "the standard uncertainty of that height, mm (default 0.5)")
	fs.Float64Var(&o.dough, "dough-c", 0, "the main dough's temperature by a kitchen thermometer, °C")
	fs.Float64Var(&o.doughKg, "dough-kg", 0, "the main dough's mass, kg: how fast it follows the kitchen's temperature")
	return cmd
}

// action is the action that the flags ask for.
func (o *startOptions) action(cmd *cobra.Command) (rise.Action, error) {
	r := o.run
	r.Kind = rise.RunKind(o.kind)
	given := func(name string, v float64) rise.Num {
		if !cmd.Flags().Changed(name) {
			return rise.Num{}
		}
		return rise.Known(v)
	}
	r.InoculationPct, r.HydrationPct, r.SaltPct = given("inoculation", o.inoculation), given("hydration", o.hydration), given("salt", o.salt)
	r.RulerMM, r.URulerMM, r.DensityGML = given("ruler-mm", o.ruler), given("u-ruler-mm", o.uRuler), given("density", o.density)
	r.FloorMM, r.UFloorMM = given("floor-mm", o.floor), given("u-floor-mm", o.uFloor)
	r.DoughKg = given("dough-kg", o.doughKg)
	if o.byMass {
		r.BaseBy = rise.BaseByMass
	}
	r.SampleG, r.BaseMM, r.UBaseMM = given("sample-g", o.sample), given("base-mm", o.base), given("u-base-mm", o.uBase)
	if o.ready != "" {
		t, err := prose.Ahead(o.ready, time.Now())
		if err != nil {
			return rise.Action{}, misusef(remedy(err), "--ready: %w", err)
		}
		r.Plan = t.UTC()
	}
	return rise.Action{Kind: rise.ActionStart, Start: &r, DoughC: given("dough-c", o.dough)}, nil
}

func started(done api.ActionDone) string {
	r := done.Run
	return fmt.Sprintf("%s started on station %s%s: target %s in jar %s@%d", title(*r), r.Station, since(done.Action.When), prose.Target(r.Target), r.Jar, r.JarVersion)
}
