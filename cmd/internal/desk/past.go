package desk

import (
	"context"
	"slices"

	"nightjar/rise"
)

// pastRuns is how many of a starter's newest runs are folded again before a new one begins. Older ones that were never
// summed up, or by another algorithm, are left out: on the smallest board a night takes seconds.
const pastRuns = 5

// recall sums up what an action will want to know of its starter's earlier runs.
func (d *Desk) recall(ctx context.Context, a rise.Action) error {
	switch {
	case a.Kind == rise.ActionFeed && a.Feed != nil:
		return d.remember(ctx, a.Feed.Starter, feedingsSeen)
	case a.Kind == rise.ActionStart && a.Start != nil:
		return d.remember(ctx, a.Start.Starter, pastRuns)
	}
	return nil
}

// remember sums up those of a starter's newest runs that ended and whose summary is missing or by another algorithm, so
// that a run that begins now learns from them.
func (d *Desk) remember(ctx context.Context, starter string, newest int) error {
	if starter == "" {
		return nil
	}
	runs, err := d.Store.Runs()
	if err != nil {
		return err
	}
	kept, err := d.Store.Summaries(starter)
	if err != nil {
		return err
	}
	runs = slices.DeleteFunc(runs, func(r rise.Run) bool { return r.Starter != starter || r.Open() })
	for _, r := range runs[max(0, len(runs)-newest):] {
		current := func(s rise.Summary) bool { return s.Run.Number == r.Number && s.Algorithm == rise.Algorithm }
		if slices.ContainsFunc(kept, current) {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		c, err := d.gather(r.Number)
		if err != nil {
			continue // a run that cannot be folded teaches nothing
		}
		t, _, err := rise.Resume(c)
		if err != nil {
			continue
		}
		if err := d.Store.PutSummary(t.Summary()); err != nil {
			return err
		}
	}
	return nil
}
