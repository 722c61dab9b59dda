package store

import (
	"errors"
	"fmt"
)

// Opening a store.
var (
	// ErrLocked: another process has the store open. Ask that process, or stop it.
	ErrLocked = errors.New("another process has the store open")
	// ErrDamaged: what is stored cannot be read as it was written. From Open it concerns the whole file: Repair moves it
	// aside and copies what is readable. From anything else it concerns one record.
	ErrDamaged = errors.New("damaged")
	// ErrNewer: a newer version of the program wrote the store. It was left untouched; install that version.
	ErrNewer = errors.New("written by a newer version")
	// ErrReadOnly: the store was opened for reading only.
	ErrReadOnly = errors.New("open for reading only")
)

// Writing to a store.
var (
	// ErrNotWritten: the disk does not take what is written; it is full, or mounted for reading only, or broken. What was
	// asked for was not done. Readings stay in memory and alerts are issued all the same.
	ErrNotWritten = errors.New("the disk does not take what is written")
)

// Asking a store.
var (
	// ErrNotFound: there is no such run, jar, alert or reading.
	ErrNotFound = errors.New("not found")
	// ErrRunOpen: the station has an open run already. End it first.
	ErrRunOpen = errors.New("a run is open")
	// ErrRunClosed: the run has ended already.
	ErrRunClosed = errors.New("the run has ended")
	// ErrInvalid: the request cannot be carried out as it stands, whatever the store holds.
	ErrInvalid = errors.New("invalid")
)

// Hint is an error with a remedy for the person who reads it.
type Hint struct {
	Err error
	// Remedy is one sentence that says what to do.
	Remedy string
}

// Error is the error without the remedy.
func (h *Hint) Error() string { return h.Err.Error() }

// Hint is the remedy.
func (h *Hint) Hint() string { return h.Remedy }

// Unwrap returns the error that the remedy is for.
func (h *Hint) Unwrap() error { return h.Err }

func hintf(remedy, format string, args ...any) error {
	return &Hint{Err: fmt.Errorf(format, args...), Remedy: remedy}
}
