package desk

import (
	"context"
	"fmt"
	"slices"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// compareStep is the spacing of a comparison's curves, mostCompared the most runs side by side.
const (
	compareStep  = 15 * time.Minute
	mostCompared = 10
)

// Compare puts runs side by side; none named is the newest five doughs that ended.
func (d *Desk) Compare(ctx context.Context, numbers []int) (api.Comparison, error) {
	out := api.Comparison{Runs: []api.Compared{}}
	if len(numbers) > mostCompared {
		return out, &Error{Kind: Bad, Msg: fmt.Sprintf("%d runs are too many to compare", len(numbers)), Remedy: fmt.Sprintf("name at most %d", mostCompared)}
	}
	if len(numbers) == 0 {
		runs, err := d.Store.Runs()
		if err != nil {
			return out, err
		}
		runs = slices.DeleteFunc(runs, func(r rise.Run) bool { return r.Open() || r.Kind != rise.RunDough })
		for _, r := range runs[max(0, len(runs)-5):] {
			numbers = append(numbers, r.Number)
		}
	}
	var bakes []rise.Bake
	for _, n := range numbers {
		if err := ctx.Err(); err != nil {
			return out, err
		}
		c, err := d.compared(n)
		if err != nil {
			return out, err
		}
		out.Runs, bakes = append(out.Runs, c), append(bakes, c.Bake)
	}
	out.Advice = rise.Advise(bakes)
	return out, nil
}

// compared folds a run into what a comparison shows of it.
func (d *Desk) compared(n int) (api.Compared, error) {
	c, err := d.gather(n)
	if err != nil {
		return api.Compared{}, err
	}
	var out api.Compared
	var temps []rise.Num
	var atEnd rise.Num
	due := 0.0
	for r, e := range rise.Fold(c) {
		if e.Multiple.IsKnown() {
			atEnd = e.Multiple
		}
		h := r.Time.Sub(c.Run.Started.Wall).Hours()
		if h < due {
			continue
		}
		out.Hours, out.Multiple, temps = append(out.Hours, h), append(out.Multiple, e.Multiple), append(temps, r.TempC())
		due = h + compareStep.Hours() - 0.001
	}
	if slices.ContainsFunc(temps, rise.Num.IsKnown) {
		out.ThermalH = rise.ThermalHours(out.Hours, temps)
	}
	t, _, err := rise.Resume(c)
	if err != nil {
		return out, err
	}
	out.Summary = t.Summary()
	out.Bake = bake(c, out.Summary, atEnd)
	return out, nil
}

// bake reads a run's marks: bulk counts from mixed, or from the start.
func bake(c rise.Case, s rise.Summary, atEnd rise.Num) rise.Bake {
	mixed, ended := c.Run.Started.Wall, c.Run.End.Wall
	var baked time.Time
	var o rise.Outcome
	for _, a := range c.Actions {
		switch {
		case a.Kind == rise.ActionMark && a.Mark == "mixed":
			mixed = a.When.Wall
		case a.Kind == rise.ActionMark && a.Mark == "baked":
			baked = a.When.Wall
		case a.Kind == rise.ActionOutcome && a.Outcome != nil:
			o = *a.Outcome
		}
	}
	return rise.NewBake(s, mixed, ended, baked, atEnd, o)
}
