package check

import (
	"errors"
	"syscall"
)

// readOnly is what writing to a disk mounted for reading only gives.
const readOnly = syscall.EROFS

// hint is what an error says to do about it, or else the given remedy.
func hint(err error, remedy string) string {
	if h, ok := errors.AsType[interface {
		error
		Hint() string
	}](err); ok && h.Hint() != "" {
		return h.Hint()
	}
	return remedy
}
