package main

import (
	"crypto/rand"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/prose"
	"nightjar/rise"
)

// actionFlags are those that every action takes.
type actionFlags struct {
	station, at, text string
	run               int
	format            format
}

func (f *actionFlags) add(cmd *cobra.Command, withRun bool) {
	cmd.Flags().StringVar(&f.station, "station", "", "the station; may be left out where there is only one")
	cmd.Flags().StringVar(&f.at, "at", "", `when it was done, if not now: 20:15, "yesterday 20:15", "25m ago"`)
	if withRun {
		cmd.Flags().IntVar(&f.run, "run", 0, "the run it belongs to, if not the open one")
	}
	f.format.flag(cmd)
}

// do sends an action and prints what came of it: line is the sentence for a person.
func (p *program) do(cmd *cobra.Command, f actionFlags, a rise.Action, line func(api.ActionDone) string) error {
	a.ID, a.Station, a.Run = rand.Text(), f.station, f.run
	if f.text != "" {
		a.Text = f.text
	}
	if f.at != "" {
		at, err := prose.Past(f.at, time.Now())
		if err != nil {
			return misusef(remedy(err), "--at: %w", err)
		}
		a.When.Wall = at
	}
	var done api.ActionDone
	if err := p.call(cmd.Context(), writes, api.PathActions, a, &done); err != nil {
		return err
	}
	return p.print(f.format, done, func() {
		fmt.Fprintln(p.stdout, line(done))
		for _, n := range done.Notices {
			fmt.Fprintln(p.stderr, n)
		}
	})
}

// title names a run: "run 14 (country loaf)".
func title(r rise.Run) string {
	if r.Name == "" {
		return fmt.Sprintf("run %d", r.Number)
	}
	return fmt.Sprintf("run %d (%s)", r.Number, r.Name)
}

// since is when an action counts from: "now" or "since 20:15".
func since(m rise.Moment) string {
	if !m.Typed {
		return ""
	}
	return " at " + prose.Clock(m.Wall, time.Now())
}
