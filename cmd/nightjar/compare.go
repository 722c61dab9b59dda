package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

func (p *program) compareCommand() *cobra.Command {
	var f format
	var thermal bool
	cmd := &cobra.Command{
		Use:   "compare [RUN...]",
		Short: "Put runs side by side",
		Long: `Shows runs side by side, the newest five doughs unless you name some: hours, temperature, multiple at the end, outcome,
and their curves hour by hour; and at most one change for next time, with its reason. --thermal lays the curves over
one another in hours at 25 °C, so that a cool night compares with a warm one.`,
		Example: "  nightjar runs compare\n  nightjar runs compare 12 14 15 --thermal",
		RunE: func(cmd *cobra.Command, args []string) error {
			var query []string
			for _, a := range args {
				n, err := runNumber(a)
				if err != nil {
					return err
				}
				query = append(query, "run="+n)
			}
			var c api.Comparison
			if err := p.call(cmd.Context(), writes, api.PathCompare, nil, &c, "?"+strings.Join(query, "&")); err != nil {
				return err
			}
			return p.print(f, c, func() { writeComparison(p.stdout, c, thermal) })
		},
	}
	f.flag(cmd)
	cmd.Flags().BoolVar(&thermal, "thermal", false, "lay the curves over one another in hours at 25 °C")
	return cmd
}

func writeComparison(w io.Writer, c api.Comparison, thermal bool) {
	if len(c.Runs) == 0 {
		fmt.Fprintln(w, "no run has ended yet")
		return
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "RUN\tNAME\tBULK\tMEAN\tAT END\tTO TARGET\tAFTER\tOUTCOME")
	for _, r := range c.Runs {
		o := r.Bake.Outcome
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", r.Run.Number, dash(r.Run.Name), hoursOf(r.Bake.Hours), dash(suffixed(r.Bake.MeanC.Text(1), " °C")),
			dash(prefixed("×", r.Bake.Multiple.Text(2))), hoursOf(r.TargetHours), hoursOf(r.Bake.AfterH), dash(joined(o.Spread, o.Crumb, o.Crust, o.Sourness)))
	}
	t.Flush()
	writeOverlay(w, c.Runs, thermal)
	fmt.Fprintf(w, "\nnext time: %s\n", dash(c.Advice.Change))
	fmt.Fprintf(w, "  %s\n  %s\n", c.Advice.Reason, c.Advice.Unseen)
}

func hoursOf(n rise.Num) string { return dash(suffixed(n.Text(1), " h")) }

// writeOverlay writes the runs' multiples at each full hour.
func writeOverlay(w io.Writer, runs []api.Compared, thermal bool) {
	axis, last := "hours", 0.0
	if thermal {
		axis = "hours at 25 °C"
	}
	for _, r := range runs {
		if hs := hoursAxis(r, thermal); len(hs) > 0 {
			last = max(last, hs[len(hs)-1])
		}
	}
	fmt.Fprintf(w, "\n%14s", axis)
	for _, r := range runs {
		fmt.Fprintf(w, "%10s", fmt.Sprintf("run %d", r.Run.Number))
	}
	fmt.Fprintln(w)
	for h := 0.0; h <= math.Floor(last); h++ {
		row := fmt.Sprintf("%14.0f", h)
		for _, r := range runs {
			row += fmt.Sprintf("%10s", prefixed("×", at(hoursAxis(r, thermal), r.Multiple, h).Text(2)))
		}
		fmt.Fprintln(w, strings.TrimRight(row, " "))
	}
}

func hoursAxis(r api.Compared, thermal bool) []float64 {
	if thermal {
		return r.ThermalH
	}
	return r.Hours
}

// at is the multiple at an hour, by a straight line between the points about it; unknown beyond them.
func at(hours []float64, multiples []rise.Num, h float64) rise.Num {
	for i := range hours {
		if hours[i] < h {
			continue
		}
		m, ok := multiples[i].Get()
		if !ok || hours[i] == h || i == 0 {
			return multiples[i]
		}
		before, known := multiples[i-1].Get()
		if !known {
			return rise.Num{}
		}
		share := (h - hours[i-1]) / (hours[i] - hours[i-1])
		return rise.Known(before + share*(m-before))
	}
	return rise.Num{}
}
