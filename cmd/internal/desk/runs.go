package desk

import (
	"context"
	"fmt"
	"slices"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Runs lists all runs, oldest first.
func (d *Desk) Runs() ([]rise.Run, error) {
	runs, err := d.Store.Runs()
	return runs, d.told(err)
}

// Run finds a run by its number.
func (d *Desk) Run(n int) (rise.Run, error) {
	run, err := d.Store.Run(n)
	if e, ok := d.told(err).(*Error); ok {
		return run, &Error{Kind: e.Kind, Msg: fmt.Sprintf("there is no run %d", n), Remedy: "nightjar runs lists them"}
	}
	return run, err
}

// gather is the case of a run, with its error in a person's words.
func (d *Desk) gather(n int) (rise.Case, error) {
	if _, err := d.Run(n); err != nil {
		return rise.Case{}, err
	}
	c, err := d.Store.Case(n)
	if err != nil {
		return rise.Case{}, fmt.Errorf("gather run %d: %w", n, d.told(err))
	}
	if _, err := rise.NewTracker(c); err != nil {
		return rise.Case{}, fmt.Errorf("fold run %d: %w", n, err)
	}
	return c, nil
}

// Series is a run's curve as it was known along the way, its points at least every apart, the last one always there.
func (d *Desk) Series(ctx context.Context, n int, every time.Duration) (api.Series, error) {
	c, err := d.gather(n)
	if err != nil {
		return api.Series{}, err
	}
	s := api.Series{Run: c.Run, Points: []api.Point{}, Actions: slices.Clone(c.Actions)}
	slices.SortStableFunc(s.Actions, func(a, b rise.Action) int { return a.When.Compare(b.When.Stamp) })
	var last rise.Estimate
	var due rise.Stamp
	for _, e := range rise.Fold(c) {
		if err := ctx.Err(); err != nil {
			return api.Series{}, err
		}
		last = e
		if e.Stamp.Before(due) && e.Boot == due.Boot {
			continue
		}
		s.Points = append(s.Points, api.NewPoint(e))
		due = rise.Stamp{Boot: e.Boot, At: e.At + every}
	}
	if k := len(s.Points); k > 0 && s.Points[k-1].Time.Before(last.Time) {
		s.Points = append(s.Points, api.NewPoint(last))
	}
	return s, nil
}

// newest is the newest estimate of a run; zero if it has no reading.
func (d *Desk) newest(n int) (rise.Estimate, error) {
	c, err := d.gather(n)
	if err != nil {
		return rise.Estimate{}, err
	}
	_, last, err := rise.Resume(c)
	return last, err
}
