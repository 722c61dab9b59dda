package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

func (p *program) rebaseCommand() *cobra.Command {
	var f actionFlags
	var level float64
	cmd := &cobra.Command{
		Use:   "rebase",
		Short: "Count the rise from the level now: that was you",
		Long: `Makes the sample's level now, or at --at, the base that the rise is counted from; with --level-mm a level of your own.
For when you changed the sample and the curve shows it as a rise or a fall.`,
		Example: "  nightjar rebase\n  nightjar rebase --level-mm 31",
		Args:    exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return p.do(cmd, f, rise.Action{Kind: rise.ActionRebase, LevelMM: given(cmd, "level-mm", level)}, func(d api.ActionDone) string {
				return fmt.Sprintf("%s counts from this level%s", title(*d.Run), since(d.Action.When))
			})
		},
	}
	f.add(cmd, true)
	cmd.Flags().Float64Var(&level, "level-mm", 0, "the base level, mm, if not the one now")
	return cmd
}

func (p *program) ignoreCommand() *cobra.Command {
	var f actionFlags
	cmd := &cobra.Command{
		Use:   "ignore FROM TO",
		Short: "Set readings aside: from one time to another",
		Long: `Sets the readings between two times aside: something else than the dough was under the sensor. They are kept and marked,
and the curve is worked out without them.`,
		Example: "  nightjar ignore 01:10 01:25",
		Args:    exact("the beginning", "the end"),
		RunE: func(cmd *cobra.Command, args []string) error {
			a := rise.Action{Kind: rise.ActionIgnore}
			for i, to := range []*time.Time{&a.From, &a.To} {
				t, err := prose.Past(args[i], time.Now())
				if err != nil {
					return misusef(remedy(err), "%w", err)
				}
				*to = t.UTC()
			}
			return p.do(cmd, f, a, func(d api.ActionDone) string {
				now := time.Now()
				return fmt.Sprintf("%s leaves out %s to %s", title(*d.Run), prose.Clock(d.Action.From, now), prose.Clock(d.Action.To, now))
			})
		},
	}
	f.add(cmd, true)
	return cmd
}
