package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

func (p *program) markCommand() *cobra.Command {
	var f actionFlags
	cmd := &cobra.Command{
		Use:   "mark " + strings.Join(rise.Marks, "|"),
		Short: "Mark what was done to the dough",
		Long: `Marks a step of the work: mixed, folded, divided, shaped, chilled or baked. A step of the curve at that time is
then taken for the work and not for a rise or a fall. The hours of bulk fermentation count from mixed.`,
		Example:   "  nightjar mark folded\n  nightjar mark shaped --at 06:50",
		Args:      exact("what was done (" + strings.Join(rise.Marks, ", ") + ")"),
		ValidArgs: rise.Marks,
		RunE: func(cmd *cobra.Command, args []string) error {
			return p.do(cmd, f, rise.Action{Kind: rise.ActionMark, Mark: args[0]}, func(d api.ActionDone) string {
				return fmt.Sprintf("%s: %s%s", title(*d.Run), d.Action.Mark, since(d.Action.When))
			})
		},
	}
	f.add(cmd, true)
	cmd.Flags().StringVar(&f.text, "text", "", "words to keep beside it")
	return cmd
}
