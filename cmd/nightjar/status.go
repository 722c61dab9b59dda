package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

func (p *program) statusCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:   "status",
		Short: "How far has it risen, when will it be ready, is all well?",
		Long: `Shows every station: how far the open run has risen, when it will be ready, the temperatures, and what is wrong,
if anything is. Where the service is not running it says so and shows what is known from before.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			var st api.Status
			if err := p.call(cmd.Context(), reads, api.PathStatus, nil, &st); err != nil {
				return err
			}
			return p.print(f, st, func() { writeStatus(p.stdout, st) })
		},
	}
	f.flag(cmd)
	return cmd
}

func writeStatus(w io.Writer, st api.Status) {
	open := false
	for i, s := range st.Stations {
		if i > 0 {
			fmt.Fprintln(w)
		}
		writeStation(w, s, st.Time)
		open = open || s.Run != nil
	}
	for _, h := range st.Health {
		where := h.Name
		if h.Station != "" {
			where = h.Station + " " + h.Name
		}
		fmt.Fprintf(w, "! %s, since %s: %s\n", where, prose.Clock(h.Since, st.Time), h.Text)
	}
	for _, o := range st.OutcomeWanted {
		fmt.Fprintf(w, "How did %s come out? nightjar outcome --run %d\n", title(rise.Run{Number: o.Run, Name: o.Name}), o.Run)
	}
	if !st.Live {
		fmt.Fprintln(w, "! The service is not running: nothing is watched.")
	}
	if open && !st.CanWake {
		fmt.Fprintf(w, "! This run cannot wake you: %s.\n", st.CanWakeWhy)
	}
}

func writeStation(w io.Writer, s api.StationStatus, now time.Time) {
	if s.Run == nil {
		fmt.Fprintf(w, "%s: no run is open\n", s.Station)
	} else {
		r := rise.Run{Number: *s.Run, Name: s.Name}
		fmt.Fprintf(w, "%s: %s, %s\n", s.Station, title(r), prose.Multiple(s.Multiple, s.MultipleU))
		fmt.Fprintf(w, "  %s\n", prose.Ready(s.Point, now))
		fmt.Fprintf(w, "  %s\n", joined(string(s.Phase), prose.Rate(s.RatePctH), fmt.Sprintf("target %s in jar %s", prose.Target(s.Target.Or(0)), s.Jar)))
	}
	writeSeen(w, s, now)
	for _, a := range s.Alerts {
		fmt.Fprintf(w, "  alert %s, since %s: %s\n    nightjar ack %s\n", a.Kind, prose.Clock(a.Issued.Wall, now), a.Text, a.ID)
	}
}

// writeSeen says what the probes show and how long ago the sensor was read.
func writeSeen(w io.Writer, s api.StationStatus, now time.Time) {
	if s.LastReading.IsZero() {
		fmt.Fprintln(w, "  no reading yet")
		return
	}
	var temps []string
	for _, c := range []struct {
		place string
		v     rise.Num
	}{{"jar", s.JarC}, {"dough", s.DoughC}, {"room", s.RoomC}} {
		if c.v.IsKnown() {
			temps = append(temps, c.place+" "+prose.Celsius(c.v))
		}
	}
	seen := "read " + prose.Span(now.Sub(s.LastReading)) + " ago"
	if s.Stale {
		seen = "NOT read for " + prose.Span(now.Sub(s.LastReading))
	}
	if s.Fault != "" {
		seen += " (fault: " + s.Fault + ")"
	}
	fmt.Fprintf(w, "  %s\n", joined(append(temps, seen)...))
}
