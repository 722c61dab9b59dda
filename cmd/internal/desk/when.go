package desk

import (
	"fmt"
	"time"

	"nightjar/rise"
)

// ahead is how far into the future a typed time may lie: people round up.
const ahead = time.Minute

// stampTimes sets when an action was done and when it was told. A time that the caller gave is kept as typed.
func (d *Desk) stampTimes(a *rise.Action) error {
	typed := a.When.Wall
	a.At = d.now()
	a.When = a.At
	if typed.IsZero() {
		return nil
	}
	if late := typed.Sub(a.At.Wall); late > ahead {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("%s is in the future", local(typed)),
			Remedy: fmt.Sprintf("here it is %s; give a time that has passed, with its date if it was yesterday", local(a.At.Wall))}
	}
	stamp, ok := d.Store.Timeline().Stamp(typed)
	if !ok {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("nothing is known of %s: nightjar was not running yet", local(typed)),
			Remedy: "give a later time, or none for now"}
	}
	if a.At.Stamp.Before(stamp) {
		stamp = a.At.Stamp
	}
	a.When = rise.Moment{Stamp: stamp, Wall: typed.UTC(), Typed: true}
	return nil
}

// local is a time as people read it here.
func local(t time.Time) string { return t.Local().Format("Mon 2 Jan 15:04") }
