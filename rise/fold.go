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
		t, err := NewTracker(c)
		if err != nil {
			return
		}
		actions := inOrder(c.Actions, t)
		for _, r := range c.Readings {
			for len(actions) > 0 && !r.Before(actions[0].moment()) {
				t.Act(actions[0])
				actions = actions[1:]
			}
			if !yield(r, t.Add(r)) {
				return
			}
		}
	}
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
