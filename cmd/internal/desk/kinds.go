package desk

import (
	"fmt"
	"slices"
	"strings"

	"nightjar/rise"
)

// checkOwn checks what belongs to one kind of action alone.
func checkOwn(a *rise.Action) error {
	switch a.Kind {
	case rise.ActionNote:
		return checkNote(a)
	case rise.ActionMark:
		if !slices.Contains(rise.Marks, a.Mark) {
			return &Error{Kind: Bad, Msg: fmt.Sprintf("no mark is called %q", a.Mark), Remedy: "one of " + strings.Join(rise.Marks, ", ")}
		}
	case rise.ActionRebase:
		if v, ok := a.LevelMM.Get(); ok {
			return baseLevel.check(v)
		}
	case rise.ActionIgnore:
		if a.From.IsZero() || a.To.IsZero() || !a.From.Before(a.To) {
			return &Error{Kind: Bad, Msg: "what to ignore needs a beginning and a later end", Remedy: "give both times"}
		}
	case rise.ActionOutcome:
		if a.Outcome == nil {
			a.Outcome = &rise.Outcome{}
		}
		if err := a.Outcome.Check(); err != nil {
			return bad(err, fmt.Sprintf("spread: %s; crumb: %s; crust: %s; sourness: %s", strings.Join(rise.Spreads, ", "),
				strings.Join(rise.Crumbs, ", "), strings.Join(rise.Crusts, ", "), strings.Join(rise.Sournesses, ", ")))
		}
	}
	return nil
}

func checkNote(a *rise.Action) error {
	c, ok := a.DoughC.Get()
	if !ok && a.Text == "" {
		return &Error{Kind: Bad, Msg: "the note is empty", Remedy: `write it: nightjar note "windows open"`}
	}
	if ok {
		return doughTemp.check(c)
	}
	return nil
}

// prepareAck checks an acknowledgement or a snooze: of one active alert, or of all of a station's.
func (d *Desk) prepareAck(a *rise.Action) error {
	if a.Kind == rise.ActionSnooze && (a.Minutes < 1 || a.Minutes > 240) {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("cannot snooze for %d minutes", a.Minutes), Remedy: "from 1 to 240"}
	}
	active, err := d.Store.Active(a.Station)
	if err != nil {
		return err
	}
	if a.Alert != "" && !slices.ContainsFunc(active, func(al rise.Alert) bool { return al.ID == a.Alert }) {
		return &Error{Kind: Missing, Msg: fmt.Sprintf("no alert %q is active on station %s", a.Alert, a.Station),
			Remedy: "it may have been acknowledged already: nightjar status"}
	}
	if len(active) == 0 {
		return &Error{Kind: Refused, Msg: fmt.Sprintf("no alert is active on station %s", a.Station), Remedy: "there is nothing to acknowledge"}
	}
	run, open, err := d.Store.OpenRun(a.Station)
	if open {
		a.Run = run.Number
	}
	return err
}
