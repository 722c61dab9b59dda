package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/check"
	"nightjar/cmd/internal/client"
	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/machine"
	"nightjar/rise"
	"nightjar/sensor/detect"
	"nightjar/sensor/i2cbus"
)

func (p *program) checkCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:   "check",
		Short: "What is missing on this machine, and what to do about it?",
		Long: `Looks at everything a night needs: configuration, I2C bus and who may use it, distance sensors, probes, broker,
clock, disk and store. Each thing that is missing comes with its remedy. Nothing is changed. While the service
runs, the sensors are its own and are not asked.

The exit code is 1 if anything keeps nightjar from doing its work.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			found := check.Run(cmd.Context(), p.machine(cmd.Context()))
			if err := p.print(f, found, func() { p.writeFindings(found) }); err != nil {
				return err
			}
			if check.Failed(found) {
				return errors.New("something is missing")
			}
			return nil
		},
	}
	f.flag(cmd)
	return cmd
}

// machine is this machine as check looks at it.
func (p *program) machine(ctx context.Context) check.Machine {
	m := check.Machine{Range: rangeOnce, Scan: scanBus}
	m.Config, m.ConfigErr = p.config()
	if m.ConfigErr != nil {
		m.Config = config.Default()
	}
	m.ConfigPath, _ = p.places.config()
	m.Store, m.Socket = p.places.store(m.Config), p.places.socket(m.Config)
	c, err := client.Open(ctx, client.Options{Socket: m.Socket})
	if err != nil {
		return m
	}
	defer c.Close()
	var v api.Version
	var st api.Status
	if c.Call(ctx, api.PathVersion, nil, &v) == nil && c.Call(ctx, api.PathStatus, nil, &st) == nil {
		m.Live, m.CanWake, m.CanWakeWhy = v.Version, st.CanWake, st.CanWakeWhy
	}
	return m
}

func (p *program) writeFindings(found []check.Finding) {
	width := 0
	for _, f := range found {
		width = max(width, len(f.Name))
	}
	for _, f := range found {
		word := string(f.State)
		if f.State == check.Fail {
			word = "FAIL"
		}
		fmt.Fprintf(p.stdout, "%-4s  %-*s  %s\n", word, width, f.Name, f.Text)
		if f.Remedy != "" {
			fmt.Fprintf(p.stdout, "      %*s  -> %s\n", width, "", f.Remedy)
		}
	}
}

// rangeOnce takes one burst with a station's distance sensor and says what it saw.
func rangeOnce(ctx context.Context, s config.Station) (saw string, err error) {
	h := newHardware(machine.Clock{})
	defer func() { err = errors.Join(err, h.close()) }()
	stations, err := h.stations([]config.Station{s})
	if err != nil {
		return "", err
	}
	ranger := stations[0].Ranger
	burst, err := ranger.Range(ctx, s.Ranges)
	if err := errors.Join(err, ranger.Halt()); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s: %s", ranger, sight(burst)), nil
}

// scanBus looks at what answers on one of this machine's buses.
func scanBus(number int, further ...uint16) detect.Bus {
	bus := i2cbus.New(number)
	found := detect.Scan(bus, number, further...)
	if err := bus.Close(); err != nil && found.Trouble == "" {
		found.Trouble = err.Error()
	}
	return found
}

// sight says what a burst saw.
func sight(b rise.Burst) string {
	if mm, ok := b.RangeMM.Get(); ok {
		return fmt.Sprintf("%.1f mm, %d of %d ranges good", mm, b.Valid, b.Of)
	}
	var why []string
	for status, n := range b.Statuses {
		if n > 0 {
			why = append(why, fmt.Sprintf("%d %s", n, rise.Status(status)))
		}
	}
	return "sees nothing it can range (" + strings.Join(why, ", ") + ")"
}
