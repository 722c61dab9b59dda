package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

func (p *program) noteCommand() *cobra.Command {
	var f actionFlags
	var dough float64
	cmd := &cobra.Command{
		Use:   "note [TEXT]",
		Short: "Write something down beside the curve",
		Long: `Keeps a note with the run, at the time it was made. With --dough-c it also tells the temperature of the main dough
as a kitchen thermometer shows it, which makes the forecast for the dough itself better.`,
		Example: "  nightjar note windows open since ten\n  nightjar note --dough-c 24.5",
		RunE: func(cmd *cobra.Command, args []string) error {
			a := rise.Action{Kind: rise.ActionNote, Text: strings.Join(args, " ")}
			if cmd.Flags().Changed("dough-c") {
				a.DoughC = rise.Known(dough)
			}
			return p.do(cmd, f, a, func(d api.ActionDone) string {
				return fmt.Sprintf("noted with %s%s", title(*d.Run), since(d.Action.When))
			})
		},
	}
	f.add(cmd, true)
	cmd.Flags().Float64Var(&dough, "dough-c", 0, "the main dough's temperature, °C")
	return cmd
}
