package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
)

type planOptions struct {
	ask                                               api.PlanAsk
	mix, ready                                        string
	run                                               int
	inoculation, hydration, salt, dough, room, fridge float64
	format                                            format
}

func (p *program) planCommand() *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "When will it be ready, or how does it get ready in time?",
		Long: `Without --ready it says when a dough mixed now (or at --mix) will be at its target. With --ready it says how to get
there: by how much starter, how warm it is kept, or a rest in the refrigerator. With --run it replans a dough that is
rising already.

It goes by the starter's own feedings and doughs where they are known, by published ranges otherwise, and says which;
the room is as you say, or as in the station's earlier nights.`,
		Example: `  nightjar plan --recipe country --starter gerta --ready "tomorrow 07:00" --room 21
  nightjar plan --mix 21:30 --inoculation 15 --room 21
  nightjar plan --run 14 --ready 06:30`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.finalize(cmd); err != nil {
				return err
			}
			var out api.Planned
			var err error
			if o.run > 0 {
				ask := api.ReplanAsk{Ready: o.ask.Ready, RoomC: o.ask.RoomC, FridgeC: o.ask.FridgeC}
				err = p.call(cmd.Context(), writes, api.PathReplan, ask, &out, fmt.Sprint(o.run))
			} else {
				err = p.call(cmd.Context(), writes, api.PathPlan, o.ask, &out)
			}
			if err != nil {
				return err
			}
			return p.print(o.format, out, func() { writePlan(p.stdout, out) })
		},
	}
	cmd.AddCommand(p.stopCommand())
	o.format.flag(cmd)
	fs := cmd.Flags()
	fs.IntVar(&o.run, "run", 0, "a dough that is rising already")
	fs.StringVar(&o.ready, "ready", "", `when it is wanted: 07:00, "tomorrow 07:00", "in 9h"`)
	fs.StringVar(&o.mix, "mix", "", "when it is mixed, if not now")
	fs.StringVar(&o.ask.Recipe, "recipe", "", "the recipe")
	fs.StringVar(&o.ask.Starter, "starter", "", "the starter")
	fs.StringVar(&o.ask.Station, "station", "", "whose earlier nights tell the room's temperature")
	fs.Float64Var(&o.ask.Target, "target", 0, "the multiple (default the recipe's, or 2)")
	fs.Float64Var(&o.inoculation, "inoculation", 0, "prefermented flour, % of all flour (default the recipe's, or 15)")
	fs.Float64Var(&o.hydration, "hydration", 0, "water, % of the flour (default the recipe's, or 70)")
	fs.Float64Var(&o.salt, "salt", 0, "salt, % of the flour (default the recipe's, or 2)")
	fs.Float64Var(&o.dough, "dough-c", 0, "the temperature after mixing, °C (default the recipe's, or 24)")
	fs.Float64Var(&o.room, "room", 0, "the room's temperature, °C")
	fs.Float64Var(&o.fridge, "fridge-c", 0, "the refrigerator's temperature, °C (default 4)")
	return cmd
}

// finalize reads the times and tells what was given.
func (o *planOptions) finalize(cmd *cobra.Command) (err error) {
	for _, t := range []struct {
		flag, word string
		to         *time.Time
	}{{"--ready", o.ready, &o.ask.Ready}, {"--mix", o.mix, &o.ask.Mix}} {
		if t.word == "" {
			continue
		}
		if *t.to, err = prose.Ahead(t.word, time.Now()); err != nil {
			return misusef(remedy(err), "%s: %w", t.flag, err)
		}
	}
	if o.run > 0 && o.ready == "" {
		return misusef(`add it, such as --ready 06:30`, "--run needs --ready")
	}
	o.ask.InoculationPct, o.ask.HydrationPct, o.ask.SaltPct = given(cmd, "inoculation", o.inoculation), given(cmd, "hydration", o.hydration), given(cmd, "salt", o.salt)
	o.ask.DoughC, o.ask.RoomC, o.ask.FridgeC = given(cmd, "dough-c", o.dough), given(cmd, "room", o.room), given(cmd, "fridge-c", o.fridge)
	return nil
}

func writePlan(w io.Writer, p api.Planned) {
	if !p.Met {
		fmt.Fprintf(w, "%s\n", p.Why)
	}
	for _, c := range p.Choices {
		fmt.Fprintf(w, "  %-9s %s\n", c.What+":", c.Text)
	}
	basis := p.Basis
	if basis != "" {
		basis = "by " + basis + "; "
	}
	fmt.Fprintf(w, "%sroom: %s\n", basis, p.Room)
	for _, h := range append(p.Hints, p.Caution) {
		if h != "" {
			fmt.Fprintf(w, "! %s\n", h)
		}
	}
}
