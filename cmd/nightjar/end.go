package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

func (p *program) endCommand() *cobra.Command {
	var f actionFlags
	cmd := &cobra.Command{
		Use:   "end",
		Short: "End the open run: the dough is taken out",
		Long: `Ends the open run of a station. Its readings stay: nightjar show and nightjar export have them. A forgotten run
ends by itself, a dough's after 24 hours and a starter's after 72.`,
		Example: "  nightjar end\n  nightjar end --at 06:50",
		Args:    exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return p.do(cmd, f, rise.Action{Kind: rise.ActionEnd}, func(d api.ActionDone) string {
				return fmt.Sprintf("%s ended%s after %s", title(*d.Run), since(d.Action.When), prose.Span(d.Run.End.Wall.Sub(d.Run.Started.Wall)))
			})
		},
	}
	f.add(cmd, true)
	return cmd
}
