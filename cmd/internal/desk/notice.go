package desk

import (
	"nightjar/rise"
)

// Cautions, each with the authority that says so.
const (
	// cautionLid: a fermenting jar must not be closed tight.
	cautionLid = "Cover the jar loosely: gas in a tightly closed one can break the glass."
	// cautionRaw: US FDA and CDC on raw flour and dough; BfR opinion 004/2020.
	cautionRaw = "Do not taste raw dough: flour is not ready to eat (FDA; BfR 004/2020)."
	// cautionSample is about the glass over the dough.
	cautionSample = "A sample touched by broken glass or anything unclean, and the dough near it, is thrown away."
	// cautionMould: USDA FSIS "Molds on Food: Are They Dangerous?"; Colorado State University Extension "Sourdough
	// Starter Best Practices".
	cautionMould = "Mould on a starter, of any colour: throw all of it away, do not taste or rescue it (USDA FSIS; CSU Extension)."
	// cautionProof is what a rise does not show.
	cautionProof = "A rise is no proof of food safety: your local food-safety rules decide."
)

// notices are what the person who did an action should hear, once and where it matters: at the start of a run, when its
// dough is taken out, and when it is baked.
func (d *Desk) notices(a rise.Action, run *rise.Run) []string {
	var said []string
	switch {
	case run == nil:
		return nil
	case a.Kind == rise.ActionEnd:
		return d.takenOut(*run)
	case a.Kind == rise.ActionMark && a.Mark == "baked":
		return []string{askOutcome(*run)}
	}
	if a.Kind != rise.ActionStart && a.Kind != rise.ActionFeed || !run.Open() {
		return nil
	}
	if ok, why := d.canWake(); !ok {
		said = append(said, "This run cannot wake you: "+why+".")
	}
	said = append(said, d.fill(*run)...)
	if a.Feed != nil {
		said = append(said, a.Feed.Hints()...)
	}
	if caution := d.perishable(*run); caution != "" {
		said = append(said, caution)
	}
	said = append(said, cautionLid)
	if run.Kind == rise.RunStarter {
		return append(said, cautionMould)
	}
	if d.first(run) {
		said = append(said, cautionRaw, cautionSample, cautionProof)
	}
	return said
}

// first tells that a dough run is the first of this device: the longer cautions are said once.
func (d *Desk) first(run *rise.Run) bool {
	runs, err := d.Store.Runs()
	if err != nil {
		return true
	}
	for _, r := range runs {
		if r.Kind == rise.RunDough && r.Number < run.Number {
			return false
		}
	}
	return true
}
