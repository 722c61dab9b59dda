package desk

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// askFor is how long after it was baked a bread's outcome is asked for.
const askFor = 7 * 24 * time.Hour

// Wanted lists the runs that were baked and whose outcome nobody has told yet, oldest first.
func (d *Desk) Wanted() ([]api.OutcomeWanted, error) {
	runs, err := d.Store.Runs()
	if err != nil {
		return nil, err
	}
	now := d.now().Wall
	wanted := []api.OutcomeWanted{}
	for _, r := range runs {
		if r.Kind != rise.RunDough || now.Sub(r.Started.Wall) > askFor {
			continue
		}
		actions, err := d.Store.Actions(r.Number)
		if err != nil {
			return nil, err
		}
		baked := slices.IndexFunc(actions, func(a rise.Action) bool { return a.Kind == rise.ActionMark && a.Mark == "baked" })
		told := slices.ContainsFunc(actions, func(a rise.Action) bool { return a.Kind == rise.ActionOutcome })
		if baked >= 0 && !told {
			wanted = append(wanted, api.OutcomeWanted{Run: r.Number, Name: r.Name, Baked: actions[baked].When.Wall})
		}
	}
	return wanted, nil
}

// takenOut says what a run came to when its dough was taken out; nothing where no level was seen.
func (d *Desk) takenOut(run rise.Run) []string {
	e, err := d.newest(run.Number)
	m, ok := e.Multiple.Get()
	if !ok || err != nil {
		return nil
	}
	said := []string{fmt.Sprintf("Taken out at ×%.2f ± %.2f; the target was ×%.4g.", m, 2*e.MultipleU.Or(0), run.Target)}
	if run.Kind == rise.RunDough {
		said = append(said, fmt.Sprintf("When it is in the oven: nightjar mark baked --run %d", run.Number))
	}
	return said
}

// askOutcome asks for the outcome of a bread that was just baked.
func askOutcome(run rise.Run) string {
	return fmt.Sprintf("How did it come out? When it is cut: nightjar outcome --run %d --spread %s --crumb %s --crust %s --sourness %s",
		run.Number, strings.Join(rise.Spreads, "|"), strings.Join(rise.Crumbs, "|"), strings.Join(rise.Crusts, "|"), strings.Join(rise.Sournesses, "|"))
}
