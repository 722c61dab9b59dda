package rise

import (
	"iter"
	"slices"
)

// Fold gives every reading of a case with its estimate, as if they had just been read: the actions are done between the
// readings by their stamps, an action before a reading of the same moment. Readings to ignore are known from the
// beginning. A case that NewTracker refuses gives none.
func Fold(c Case) iter.Seq2[Reading, Estimate] {
	return func(yield func(Reading, Estimate) bool) {
		if t, err := NewTracker(c); err == nil {
			t.fold(c, yield)
		}
	}
}

// Resume folds a case and returns the tracker, ready for the next reading, with the estimate of the last one. Its errors
// are those of NewTracker.
func Resume(c Case) (*Tracker, Estimate, error) {
	t, err := NewTracker(c)
	if err != nil {
		return nil, Estimate{}, err
	}
	var last Estimate
	for _, a := range t.fold(c, func(_ Reading, e Estimate) bool { last = e; return true }) {
		t.Act(a)
	}
	return t, last, nil
}

// fold adds the readings, with the actions between them, and returns the actions that are later than all of them.
func (t *Tracker) fold(c Case, yield func(Reading, Estimate) bool) (later []Action) {
	actions := inOrder(c.Actions, t)
	for _, r := range c.Readings {
		for len(actions) > 0 && !r.Before(actions[0].moment()) {
			t.Act(actions[0])
			actions = actions[1:]
		}
		if !yield(r, t.Add(r)) {
			return nil
		}
	}
	return actions
}

// inOrder does the actions that count from the beginning, and gives the others in the order of time.
func inOrder(actions []Action, t *Tracker) []Action {
	rest := make([]Action, 0, len(actions))
	for _, a := range actions {
		if a.Kind == ActionIgnore {
			t.Act(a)
			continue
		}
		rest = append(rest, a)
	}
	slices.SortStableFunc(rest, func(a, b Action) int { return a.moment().Compare(b.moment()) })
	return rest
}
