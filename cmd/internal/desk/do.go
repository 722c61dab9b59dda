package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// maxText is the longest text of an action, in bytes.
const maxText = 4000

// Do does an action and answers once it is durable. Doing it again under the same id changes nothing and answers the
// same. What a person can mend is an *Error.
func (d *Desk) Do(ctx context.Context, a rise.Action) (api.ActionDone, error) {
	if err := ctx.Err(); err != nil {
		return api.ActionDone{}, err
	}
	// Folding earlier nights takes its time on the smallest board: not while others wait, who may want to stop a bell.
	if err := d.recall(ctx, a); err != nil {
		return api.ActionDone{}, d.told(err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if done, run, known, err := d.Store.Done(a.ID); known || err != nil {
		return api.ActionDone{Action: done, Run: run}, err
	}
	if err := d.prepare(ctx, &a); err != nil {
		return api.ActionDone{}, err
	}
	done, run, err := d.Store.Act(a)
	if err != nil {
		return api.ActionDone{}, d.told(err)
	}
	if d.Live != nil {
		d.Live.Changed(done.Station)
	}
	return api.ActionDone{Action: done, Run: run, Notices: d.notices(done, run)}, nil
}

// prepare checks an action and fills in what the caller left out.
func (d *Desk) prepare(ctx context.Context, a *rise.Action) error {
	if err := checkWords(a); err != nil {
		return err
	}
	if a.ID == "" {
		a.ID = newID()
	}
	if err := d.place(a); err != nil {
		return err
	}
	if err := d.stampTimes(a); err != nil {
		return err
	}
	switch a.Kind {
	case rise.ActionStart:
		return d.prepareStart(a)
	case rise.ActionFeed:
		return d.prepareFeed(ctx, a)
	case rise.ActionAck, rise.ActionSnooze:
		return d.prepareAck(a)
	}
	if err := checkOwn(a); err != nil {
		return err
	}
	return d.belong(a)
}

// checkWords refuses what can be told without knowing anything else.
func checkWords(a *rise.Action) error {
	a.Text = strings.TrimSpace(a.Text)
	switch {
	case !slices.Contains(rise.ActionKinds, a.Kind):
		var kinds []string
		for _, k := range rise.ActionKinds {
			kinds = append(kinds, string(k))
		}
		return &Error{Kind: Bad, Msg: fmt.Sprintf("no action is called %q", a.Kind), Remedy: "one of " + strings.Join(kinds, ", ")}
	case len(a.ID) > 100 || !utf8.ValidString(a.ID):
		return &Error{Kind: Bad, Msg: "the action's id is too long or no text", Remedy: "give at most 100 bytes of UTF-8, or none"}
	case len(a.Text) > maxText || !utf8.ValidString(a.Text):
		return &Error{Kind: Bad, Msg: fmt.Sprintf("the text is longer than %d bytes or no text", maxText), Remedy: "shorten it"}
	case a.Run < 0:
		return &Error{Kind: Bad, Msg: fmt.Sprintf("there is no run %d", a.Run), Remedy: "runs count from 1: nightjar runs"}
	}
	return nil
}

// place finds the station of an action: that of the run it names, the one it names, or the only one.
func (d *Desk) place(a *rise.Action) error {
	if a.Run > 0 {
		run, err := d.Store.Run(a.Run)
		if err != nil {
			return d.told(err)
		}
		if a.Station != "" && a.Station != run.Station {
			return &Error{Kind: Bad, Msg: fmt.Sprintf("run %d is on station %s, not %s", a.Run, run.Station, a.Station), Remedy: "leave the station out"}
		}
		a.Station = run.Station
		return nil
	}
	if a.Station == "" && len(d.Stations) == 1 {
		a.Station = d.Stations[0].Name
	}
	if a.Kind == rise.ActionFeed && a.Station == "" {
		return nil // a feeding that nothing watches
	}
	if _, ok := d.station(a.Station); !ok {
		return d.noStation(a.Station)
	}
	return nil
}

func (d *Desk) noStation(name string) error {
	var names []string
	for _, s := range d.Stations {
		names = append(names, s.Name)
	}
	e := &Error{Kind: Missing, Msg: fmt.Sprintf("there is no station %q", name), Remedy: "stations here: " + strings.Join(names, ", ")}
	if name == "" {
		e.Kind, e.Msg = Bad, "there are several stations: which one?"
	}
	return e
}

// belong sets the run of an action that needs one: the named one, or the station's open one. What is said of a run
// must lie after its start.
func (d *Desk) belong(a *rise.Action) error {
	run, err := d.runOf(a)
	if err != nil {
		return err
	}
	if a.Kind == rise.ActionEnd && !run.Open() {
		return &Error{Kind: Refused, Msg: fmt.Sprintf("run %d has ended already, at %s", run.Number, local(run.End.Wall)), Remedy: fmt.Sprintf("nightjar show %d", run.Number)}
	}
	if a.When.Before(run.Started.Stamp) {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("%s is before run %d began, at %s", local(a.When.Wall), run.Number, local(run.Started.Wall)),
			Remedy: "give a later time"}
	}
	a.Run = run.Number
	return nil
}

func (d *Desk) runOf(a *rise.Action) (rise.Run, error) {
	if a.Run > 0 {
		run, err := d.Store.Run(a.Run)
		return run, d.told(err)
	}
	run, open, err := d.Store.OpenRun(a.Station)
	if err != nil {
		return rise.Run{}, d.told(err)
	}
	if !open {
		return rise.Run{}, &Error{Kind: Refused, Msg: fmt.Sprintf("no run is open on station %s", a.Station),
			Remedy: "start one with nightjar start, or name a run that has ended with --run; nightjar runs lists them"}
	}
	return run, nil
}
