package main

import (
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

func (p *program) startersCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "starters",
		Short: "Add, list, show and plan starters",
		Long: `A starter is a culture that is kept and fed. Each feeding watched on a station (nightjar feed) tells how vigorous it is;
what the feedings tell together is shown with its reason. Rise shows gas: never acidity, mould, colour or smell.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(p.startersAddCommand(), p.startersListCommand(), p.startersShowCommand(), p.startersPlanCommand())
	return cmd
}

func (p *program) startersAddCommand() *cobra.Command {
	var f format
	var s rise.Starter
	var born string
	var flours string
	cmd := &cobra.Command{
		Use:     "add NAME",
		Short:   "Add a starter, or describe one anew",
		Example: "  nightjar starters add gerta --hydration 100 --flours wheat:0.8,rye:0.2 --born 2025-11-02",
		Args:    exact("the starter's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			s.Name = args[0]
			var err error
			if s.Flours, err = shares(flours); err != nil {
				return err
			}
			if born != "" {
				if s.Born, err = time.ParseInLocation(time.DateOnly, born, time.Local); err != nil {
					return misusef("write it as 2025-11-02", "--born: %q is no day", born)
				}
			}
			var stored rise.Starter
			if err := p.call(cmd.Context(), makes, api.PathAddStarter, s, &stored); err != nil {
				return err
			}
			return p.print(f, stored, func() {
				fmt.Fprintf(p.stdout, "starter %s at %g %% hydration\n", stored.Name, stored.HydrationPct)
			})
		},
	}
	f.flag(cmd)
	cmd.Flags().Float64Var(&s.HydrationPct, "hydration", 100, "its usual water, % of its flour")
	cmd.Flags().StringVar(&flours, "flours", "", "its usual flour's shares, such as wheat:0.8,rye:0.2")
	cmd.Flags().StringVar(&born, "born", "", "the day it was begun, such as 2025-11-02")
	cmd.Flags().StringVar(&s.Note, "note", "", "words to keep with it")
	return cmd
}

func (p *program) startersListCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the starters with their verdicts",
		Args:  exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			var all []api.StarterShown
			if err := p.call(cmd.Context(), writes, api.PathStarters, nil, &all); err != nil {
				return err
			}
			return p.print(f, all, func() {
				if len(all) == 0 {
					fmt.Fprintln(p.stderr, "no starter yet: nightjar starters add")
					return
				}
				w := tabwriter.NewWriter(p.stdout, 0, 0, 2, ' ', 0)
				for _, s := range all {
					fmt.Fprintf(w, "%s\t%s\t%s\n", s.Name, s.Verdict.Grade, s.Verdict.Reason)
				}
				w.Flush()
			})
		},
	}
	f.flag(cmd)
	return cmd
}

func (p *program) startersShowCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:     "show NAME",
		Short:   "Show a starter: its feedings, its vigour and what may help it",
		Example: "  nightjar starters show gerta",
		Args:    exact("the starter's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var s api.StarterShown
			if err := p.call(cmd.Context(), writes, api.PathStarter, nil, &s, args[0]); err != nil {
				return err
			}
			return p.print(f, s, func() { writeStarter(p.stdout, s) })
		},
	}
	f.flag(cmd)
	return cmd
}

func writeStarter(w io.Writer, s api.StarterShown) {
	fmt.Fprintf(w, "%s: %s\n  %s\n", s.Name, s.Verdict.Grade, s.Verdict.Reason)
	if v := s.Verdict.Vigour; v.Value.IsKnown() {
		fmt.Fprintf(w, "  vigour %s (%s to %s); 1 doubles about 4½ h after 1:1:1 at 25 °C\n", v.Value.Text(2), v.Lo.Text(2), v.Hi.Text(2))
	}
	if v := s.Verdict.Trend; v.Value.IsKnown() {
		fmt.Fprintf(w, "  from feeding to feeding ×%s (%s to %s)\n", v.Value.Text(2), v.Lo.Text(2), v.Hi.Text(2))
	}
	if e := s.Expected; e.PeakMultiple.IsKnown() {
		hold := ""
		if e.HoldH.IsKnown() {
			hold = ", and stays near it for " + e.HoldH.Text(1) + " h"
		}
		fmt.Fprintf(w, "  usually peaks at ×%s%s\n", e.PeakMultiple.Text(2), hold)
	}
	for _, line := range s.Verdict.Remedies {
		fmt.Fprintf(w, "  may help: %s\n", line)
	}
	for _, line := range s.Verdict.Notes {
		fmt.Fprintf(w, "  %s\n", line)
	}
	writeFeedings(w, s.Feedings)
}

func writeFeedings(w io.Writer, fed []rise.FeedingRun) {
	if len(fed) == 0 {
		return
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "RUN\tFED\tRATIO\tMEAN\tLAG\tDOUBLED\tPEAK\tAFTER\tHELD\tVIGOUR")
	hours := func(n rise.Num) string { return dash(suffixed(n.Text(1), " h")) }
	for _, r := range slices.Backward(fed) {
		m := r.Milestones
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", r.Run, r.Started.Local().Format("2006-01-02 15:04"), r.Feeding.Ratio(),
			dash(suffixed(m.MeanC.Text(1), " °C")), hours(m.LagH), hours(m.DoubleH), dash(prefixed("×", m.TopMultiple.Text(2))),
			hours(m.PeakH), hours(m.HoldH), dash(r.Vigour.Ratio.Text(2)))
	}
	t.Flush()
}

func suffixed(s, suffix string) string {
	if s == "" {
		return ""
	}
	return s + suffix
}

func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + s
}

func (p *program) startersPlanCommand() *cobra.Command {
	var f format
	var ask api.FeedAsk
	var ripe string
	var room, mix float64
	cmd := &cobra.Command{
		Use:     "plan NAME --ripe TIME",
		Short:   "Plan a feeding so that the starter is near its peak when you want it",
		Example: `  nightjar starters plan gerta --ripe "tomorrow 08:00" --room 21`,
		Args:    exact("the starter's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var err error
			if ask.Ripe, err = prose.Ahead(ripe, time.Now()); err != nil {
				return misusef(remedy(err), "--ripe: %w", err)
			}
			ask.RoomC, ask.MixC = given(cmd, "room", room), given(cmd, "mix-c", mix)
			var plan rise.FeedPlan
			if err := p.call(cmd.Context(), writes, api.PathPlanFeed, ask, &plan, args[0]); err != nil {
				return err
			}
			return p.print(f, plan, func() {
				if !plan.Met {
					fmt.Fprintln(p.stdout, plan.Why)
				}
				for _, c := range plan.Choices {
					fmt.Fprintf(p.stdout, "  %s\n", c.Text)
				}
				fmt.Fprintf(p.stdout, "by %s\n", plan.Basis)
			})
		},
	}
	f.flag(cmd)
	cmd.Flags().StringVar(&ripe, "ripe", "", `when it is wanted: 08:00, "tomorrow 08:00", "in 9h"`)
	cmd.Flags().Float64Var(&room, "room", 0, "the room's temperature, °C (default as in the station's earlier nights)")
	cmd.Flags().Float64Var(&mix, "mix-c", 0, "the temperature of flour and water once mixed, °C (default the room's)")
	cmd.Flags().StringVar(&ask.Station, "station", "", "whose earlier nights tell the room's temperature")
	return cmd
}

// given is a number of a flag, unknown where the flag was not given.
func given(cmd *cobra.Command, flag string, v float64) rise.Num {
	if !cmd.Flags().Changed(flag) {
		return rise.Num{}
	}
	return rise.Known(v)
}
