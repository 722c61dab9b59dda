package desk

import (
	"encoding/json"

	"nightjar/rise"
	"nightjar/store"
)

// Store is what a Desk keeps and finds things in. Package store satisfies it.
type Store interface {
	// Act stores an action durably and does what it says: start opens a run, end closes one. It answers the action as
	// stored and the run that it started, ended or belongs to. An id that is known already answers what was done then.
	Act(a rise.Action) (rise.Action, *rise.Run, error)
	// Done finds what was done under an id; false if nothing was.
	Done(id string) (rise.Action, *rise.Run, bool, error)
	// Runs lists all runs, oldest first.
	Runs() ([]rise.Run, error)
	// Run finds a run by its number.
	Run(n int) (rise.Run, error)
	// OpenRun is the open run of a station; false if there is none.
	OpenRun(station string) (rise.Run, bool, error)
	// Actions lists the actions of a run, in order.
	Actions(run int) ([]rise.Action, error)
	// Case gathers all that a fold of a run needs.
	Case(run int) (rise.Case, error)
	// Summaries lists what is kept of a starter's runs, oldest first, and PutSummary keeps one.
	Summaries(starter string) ([]rise.Summary, error)
	PutSummary(s rise.Summary) error
	// PutJar stores a new version of a jar and answers it with its version.
	PutJar(j rise.Jar) (rise.Jar, error)
	// Jar finds a version of a jar; 0 is the newest.
	Jar(name string, version int) (rise.Jar, error)
	// Jars lists the newest version of every jar, by name.
	Jars() ([]rise.Jar, error)
	// The newest version of a starter or a recipe, or another one; a list has the newest of each, by name.
	PutStarter(name string, doc json.RawMessage) (version int, err error)
	Starter(name string, version int) (store.Document, error)
	Starters() ([]store.Document, error)
	PutRecipe(name string, doc json.RawMessage) (version int, err error)
	Recipe(name string, version int) (store.Document, error)
	Recipes() ([]store.Document, error)
	// Deliveries is how far an alert has come on each of its routes.
	Deliveries(alertID string) ([]rise.Delivery, error)
	// Active lists the alerts that are not acknowledged, oldest first.
	Active(station string) ([]rise.Alert, error)
	// LastReading is the newest reading of a station; false if there is none.
	LastReading(station string) (rise.Reading, bool, error)
	// Boot is the number of this boot, Timeline what is known of the time.
	Boot() uint32
	Timeline() rise.Timeline
	// Backup writes a consistent copy of the store to a file; Path is the store's own.
	Backup(path string) error
	Path() string
}

var _ Store = (*store.DB)(nil)
