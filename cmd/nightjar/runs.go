package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

func (p *program) runsCommand() *cobra.Command {
	var f format
	list := func(cmd *cobra.Command, _ []string) error {
		var runs []rise.Run
		if err := p.call(cmd.Context(), reads, api.PathRuns, nil, &runs); err != nil {
			return err
		}
		return p.print(f, runs, func() { p.writeRuns(runs) })
	}
	cmd := &cobra.Command{
		Use:   "runs",
		Short: "List the runs",
		Long:  "Lists all runs, the newest first. nightjar show shows one of them.",
		Args:  exact(),
		RunE:  list,
	}
	f.flag(cmd)
	sub := &cobra.Command{Use: "list", Short: "List the runs", Args: exact(), RunE: list}
	f.flag(sub)
	cmd.AddCommand(sub, p.compareCommand())
	return cmd
}

func (p *program) writeRuns(runs []rise.Run) {
	if len(runs) == 0 {
		fmt.Fprintln(p.stderr, "no run yet: nightjar start")
		return
	}
	w := tabwriter.NewWriter(p.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "RUN\tKIND\tNAME\tSTATION\tSTARTED\tLASTED\tTARGET")
	for _, r := range slices.Backward(runs) {
		lasted := "open"
		if !r.Open() {
			lasted = prose.Span(r.End.Wall.Sub(r.Started.Wall))
		}
		fmt.Fprintf(w, "%d\t%s\t%s\t%s\t%s\t%s\t%s\n", r.Number, r.Kind, dash(r.Name), r.Station,
			r.Started.Wall.Local().Format("2006-01-02 15:04"), lasted, prose.Target(r.Target))
	}
	w.Flush()
}

func (p *program) showCommand() *cobra.Command {
	var f format
	var every time.Duration
	cmd := &cobra.Command{
		Use:   "show RUN",
		Short: "Show a run: its curve in numbers, and what was done",
		Long: `Shows a run, open or ended: what was known along the way, and what was done. Each line uses only the readings up to
its own time, so it is what you would have been told then.`,
		Example: "  nightjar show 14\n  nightjar show 14 --every 1h",
		Args:    exact("the run's number"),
		RunE: func(cmd *cobra.Command, args []string) error {
			n, err := runNumber(args[0])
			if err != nil {
				return err
			}
			var s api.Series
			if err := p.call(cmd.Context(), reads, api.PathSeries, nil, &s, n, "?every="+every.String()); err != nil {
				return err
			}
			return p.print(f, s, func() { p.writeSeries(s) })
		},
	}
	f.flag(cmd)
	cmd.Flags().DurationVar(&every, "every", 30*time.Minute, "the spacing of the lines")
	return cmd
}

// runNumber checks the number of a run.
func runNumber(s string) (string, error) {
	if n, err := strconv.Atoi(s); err != nil || n < 1 {
		return "", misusef("runs count from 1; nightjar runs lists them", "%q is no run's number", s)
	}
	return s, nil
}

func (p *program) writeSeries(s api.Series) {
	r := s.Run
	fmt.Fprintf(p.stdout, "%s, %s on station %s, started %s\n", title(r), r.Kind, r.Station, r.Started.Wall.Local().Format("Mon 2 Jan 2006 15:04"))
	fmt.Fprintf(p.stdout, "target %s in jar %s@%d", prose.Target(r.Target), r.Jar, r.JarVersion)
	if !r.Open() {
		fmt.Fprintf(p.stdout, "; ended after %s", prose.Span(r.End.Wall.Sub(r.Started.Wall)))
	}
	fmt.Fprint(p.stdout, "\n\n")
	w := tabwriter.NewWriter(p.stdout, 0, 0, 2, ' ', 0)
	for _, pt := range s.Points {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", pt.Time.Local().Format("15:04"), prose.Multiple(pt.Multiple, pt.MultipleU), prose.Rate(pt.RatePctH), pt.Phase, prose.Ready(pt, pt.Time))
	}
	w.Flush()
	if len(s.Actions) > 0 {
		fmt.Fprintln(p.stdout)
	}
	for _, a := range s.Actions {
		fmt.Fprintf(p.stdout, "%s  %s\n", a.When.Wall.Local().Format("15:04"), joined(string(a.Kind), a.Mark, a.Text))
	}
}

// joined puts words together with commas, leaving out empty ones.
func joined(words ...string) string {
	return strings.Join(slices.DeleteFunc(slices.Clone(words), func(s string) bool { return s == "" }), ", ")
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
