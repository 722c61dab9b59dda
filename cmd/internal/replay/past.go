package replay

import (
	"fmt"

	"nightjar/rise"
)

// Error is a recording that can be read but not replayed.
type Error struct{ Msg, Remedy string }

// Error says what is wrong.
func (e *Error) Error() string { return e.Msg }

// Hint says what to do about it.
func (e *Error) Hint() string { return e.Remedy }

// jarless tells that no jar was given.
func jarless(j rise.Jar) bool { return j.FloorMM == 0 && j.Profile.Shape == "" }

// check refuses a recording that nothing can be said of.
func check(file string, c rise.Case) error {
	if _, err := rise.NewTracker(c); err != nil {
		return &Error{fmt.Sprintf("%s: %v", file, err), "see --target, --floor-mm and --diameter-mm"}
	}
	if !jarless(c.Jar) {
		return nil
	}
	for _, r := range c.Readings {
		if r.LevelMM.IsKnown() || !r.RangeMM.IsKnown() {
			continue
		}
		return &Error{file + " has distances, and no jar to turn them into levels",
			"give --floor-mm and --diameter-mm, or --jar NAME"}
	}
	return nil
}

// learn folds the past recordings into what they teach.
func learn(o Options) ([]rise.Summary, error) {
	var past []rise.Summary
	for _, file := range o.Past {
		c, err := read(file, Options{Jar: o.Jar})
		if err != nil {
			return nil, fmt.Errorf("past run: %w", err)
		}
		t, _, err := rise.Resume(c)
		if err != nil {
			return nil, fmt.Errorf("past run %s: %w", file, err)
		}
		past = append(past, t.Summary())
	}
	return past, nil
}
