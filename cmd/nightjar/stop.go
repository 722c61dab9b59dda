package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

type stopOptions struct {
	ask                                     api.StopAsk
	form                                    string
	inoculation, dough, room, proofC, coldC float64
	bench, proof, cold                      time.Duration
	format                                  format
}

func (p *program) stopCommand() *cobra.Command {
	var o stopOptions
	cmd := &cobra.Command{
		Use:   "stop",
		Short: "At which multiple to end bulk for what comes after it",
		Long: `A dough goes on rising on the bench, in the proof and in the refrigerator until it is cold: a large piece for hours. Say
what comes after bulk, and it tells the multiple at which to take the dough out, so that it comes to its target in
all. Without --bench, --proof and --cold it goes straight into 4 °C for 12 hours.

With --run the numbers of a dough that is rising count. How fast the dough cools comes from a probe in it on earlier
nights that were marked as chilled, or else from --piece-kg and its shape.`,
		Example: `  nightjar plan stop --run 14 --piece-kg 0.9
  nightjar plan stop --run 14 --piece-kg 0.9 --bench 20m --proof 1h --proof-c 24 --cold 14h --cold-c 5
  nightjar plan stop --recipe country --starter gerta --dough-c 25 --piece-kg 2 --form layer --thick-mm 60`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.finalize(cmd)
			var out api.Stopping
			if err := p.call(cmd.Context(), writes, api.PathStop, o.ask, &out); err != nil {
				return err
			}
			return p.print(o.format, out, func() { writeStop(p.stdout, out) })
		},
	}
	o.format.flag(cmd)
	o.flags(cmd)
	return cmd
}

func (o *stopOptions) flags(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.IntVar(&o.ask.Run, "run", 0, "a dough that is rising")
	fs.StringVar(&o.ask.Recipe, "recipe", "", "the recipe")
	fs.StringVar(&o.ask.Starter, "starter", "", "the starter")
	fs.StringVar(&o.ask.Station, "station", "", "whose earlier nights tell how fast the dough cools")
	fs.Float64Var(&o.ask.Target, "target", 0, "the multiple in all (default the run's, the recipe's, or 2)")
	fs.Float64Var(&o.inoculation, "inoculation", 0, "prefermented flour, % of all flour")
	fs.Float64Var(&o.dough, "dough-c", 0, "the dough's temperature at the end of bulk, °C (default as the run's probe shows)")
	fs.Float64Var(&o.room, "room", 0, "the room's temperature, °C")
	fs.DurationVar(&o.bench, "bench", 0, "the time on the bench: dividing, rest, shaping")
	fs.DurationVar(&o.proof, "proof", 0, "a proof after shaping")
	fs.Float64Var(&o.proofC, "proof-c", 0, "its temperature, °C (default the room's)")
	fs.DurationVar(&o.cold, "cold", 0, "the time in the refrigerator")
	fs.Float64Var(&o.coldC, "cold-c", 0, "its temperature, °C (default 4)")
	fs.Float64Var(&o.ask.Piece.DoughKg, "piece-kg", 0, "the mass of one shaped piece, kg")
	fs.Float64Var(&o.ask.Piece.VesselKg, "vessel-kg", 0, "the mass of what holds it, kg")
	fs.StringVar(&o.form, "form", "ball", "ball, roll or layer")
	fs.Float64Var(&o.ask.Piece.ThickMM, "thick-mm", 0, "a layer's thickness or a roll's diameter, mm")
	fs.BoolVar(&o.ask.Piece.Covered, "covered", false, "it stands under a cloth, a lid or a bag")
}

// finalize tells what was given.
func (o *stopOptions) finalize(cmd *cobra.Command) {
	a := &o.ask
	a.Piece.Form = rise.Form(o.form)
	a.BenchH, a.ProofH, a.ColdH = o.bench.Hours(), o.proof.Hours(), o.cold.Hours()
	a.InoculationPct, a.DoughC, a.RoomC = given(cmd, "inoculation", o.inoculation), given(cmd, "dough-c", o.dough), given(cmd, "room", o.room)
	a.ProofC, a.ColdC = given(cmd, "proof-c", o.proofC), given(cmd, "cold-c", o.coldC)
}

func writeStop(w io.Writer, s api.Stopping) {
	fmt.Fprintf(w, "%s\nby %s; cooling: %s\n", s.Text, s.Basis, s.Cooling)
	for _, h := range s.Hints {
		fmt.Fprintf(w, "! %s\n", h)
	}
}
