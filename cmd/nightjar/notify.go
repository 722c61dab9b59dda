package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/client"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

func (p *program) notifyCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "notify",
		Short: "Try the ways by which alerts leave",
		Long:  "Tries the ways by which alerts leave: see nightjar notify test --help.",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return misusef("see nightjar notify --help", "there is no command notify %q", args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(p.notifyTestCommand())
	return cmd
}

func (p *program) notifyTestCommand() *cobra.Command {
	var (
		f    format
		wait time.Duration
	)
	cmd := &cobra.Command{
		Use:   "test",
		Short: "Ring once on every route, and see whether it reaches you",
		Long: `Sends a test, marked as one, on every route that is set up, and says how far it came on each. Then it waits for
you to acknowledge it from your phone: only that proves that the bell can wake you. Until it was done, and again
30 days later or after the routes were set up anew, a run says that it cannot wake you.

Exit code 0 if it was acknowledged, 1 if not.`,
		Example: `  nightjar notify test
  nightjar notify test --wait 5m`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if wait < 0 {
				return misusef("0 does not wait at all", "--wait %v cannot be", wait)
			}
			return p.api(cmd.Context(), writes, func(c *client.Client) error { return p.ringTest(cmd.Context(), c, f, wait) })
		},
	}
	f.flag(cmd)
	cmd.Flags().DurationVar(&wait, "wait", time.Minute, "how long to wait for an acknowledgement")
	return cmd
}

// ringTest sends a test and waits until it was acknowledged.
func (p *program) ringTest(ctx context.Context, c *client.Client, f format, wait time.Duration) error {
	var d api.Delivery
	if err := c.Call(ctx, api.PathTest, nil, &d); err != nil {
		return err
	}
	begin := time.Now()
	fmt.Fprintf(p.stderr, "Test %s sent. Acknowledge it from your phone, or with nightjar ack.\n", d.Alert.ID)
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for !d.Acked && time.Since(begin) < wait {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
		if err := c.Call(ctx, api.PathDelivery, nil, &d, d.Alert.ID); err != nil {
			return err
		}
	}
	if err := p.print(f, d, func() { p.writeDelivery(d, time.Since(begin)) }); err != nil {
		return err
	}
	if !d.Acked {
		return fmt.Errorf("nobody acknowledged the test within %s: no run can be sure to wake you", prose.Span(wait))
	}
	return nil
}

func (p *program) writeDelivery(d api.Delivery, took time.Duration) {
	words := map[rise.DeliveryState]string{
		rise.DeliveryDelivered: "delivered", rise.DeliveryPending: "not delivered yet", rise.DeliveryExpired: "given up",
	}
	for _, r := range d.Routes {
		line := fmt.Sprintf("%-12s %s", r.Route, words[r.State])
		if r.Why != "" {
			line += ": " + r.Why
		}
		fmt.Fprintln(p.stdout, line)
	}
	if d.Acked {
		fmt.Fprintf(p.stdout, "acknowledged within %s: the bell can wake you\n", prose.Span(took))
	}
}
