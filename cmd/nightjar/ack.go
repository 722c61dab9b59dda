package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

func (p *program) ackCommand() *cobra.Command {
	var f actionFlags
	var minutes int
	cmd := &cobra.Command{
		Use:   "ack [ALERT]",
		Short: "Acknowledge an alert: you are up, it may stop ringing",
		Long: `Acknowledges every active alert of a station, or the one whose id you give. With --snooze it rings again after so
many minutes instead.`,
		Example: "  nightjar ack\n  nightjar ack --snooze 20",
		Args:    atMost(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			a := rise.Action{Kind: rise.ActionAck}
			if cmd.Flags().Changed("snooze") {
				a.Kind, a.Minutes = rise.ActionSnooze, minutes
			}
			if len(args) > 0 {
				a.Alert = args[0]
			}
			return p.do(cmd, f, a, func(d api.ActionDone) string {
				if d.Action.Kind == rise.ActionSnooze {
					return fmt.Sprintf("rings again in %d min", d.Action.Minutes)
				}
				return "acknowledged on station " + d.Action.Station
			})
		},
	}
	f.add(cmd, false)
	cmd.Flags().IntVar(&minutes, "snooze", 0, "ring again after so many minutes")
	return cmd
}
