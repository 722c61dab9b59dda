// Package sysfs reads the small text files by which the kernel shows its sensors. It classes their errors, and waits for them
// with a bound: reading one has the kernel measure, which takes its time, cannot be interrupted, and may never end on a bus
// that hangs.
package sysfs

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strconv"
	"strings"
	"syscall"
	"time"

	"nightjar/sensor"
)

// ErrEmpty is an answer without content, by which some drivers tell that they have none.
var ErrEmpty = fmt.Errorf("no sample (the kernel's answer is empty): %w", sensor.ErrAbsent)

// Read reads a file. An error is classed by package sensor's sentinels and keeps its cause.
func Read(files fs.FS, name string) ([]byte, error) {
	text, err := fs.ReadFile(files, name)
	switch {
	case err == nil:
		return text, nil
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.Errno(121)): // EREMOTEIO
		return nil, fmt.Errorf("%w: %w", sensor.ErrAbsent, err)
	case errors.Is(err, syscall.EIO):
		return nil, fmt.Errorf("refused by the kernel: %w: %w", sensor.ErrBadValue, err)
	case errors.Is(err, syscall.EAGAIN), errors.Is(err, syscall.ETIMEDOUT):
		return nil, fmt.Errorf("%w: %w", sensor.ErrTimeout, err)
	}
	return nil, fmt.Errorf("%w: %w", sensor.ErrBus, err)
}

// Int parses the text of a file that holds a whole number of 32 bits. It returns ErrEmpty for none and ErrBadValue for
// anything else.
func Int(text []byte) (int, error) {
	s := strings.TrimSpace(string(text))
	if s == "" {
		return 0, ErrEmpty
	}
	v, err := strconv.ParseInt(s, 10, 32)
	if err != nil {
		return 0, fmt.Errorf("no number: %q: %w", s, sensor.ErrBadValue)
	}
	return int(v), nil
}

// Float parses the text of a file that holds a number. It returns ErrEmpty for none and ErrBadValue for anything else, NaN
// and infinity too.
func Float(text []byte) (float64, error) {
	s := strings.TrimSpace(string(text))
	if s == "" {
		return 0, ErrEmpty
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("no number: %q: %w", s, sensor.ErrBadValue)
	}
	return v, nil
}

// ReadFloat reads a file that holds a number.
func ReadFloat(files fs.FS, name string) (float64, error) {
	text, err := Read(files, name)
	if err != nil {
		return 0, err
	}
	return Float(text)
}

// Call runs a function that cannot be interrupted, at most one at a time, each in a goroutine of its own. The zero value is
// ready. It must not be used by two goroutines at once.
type Call[T any] struct{ pending chan T }

// Do runs f and waits for it, at most for limit (real time, because what it bounds is the kernel), else it returns
// ErrTimeout, or ctx's error if that ended. While an f that was given up still runs, Do returns ErrTimeout at once; a late
// result is thrown away.
func (c *Call[T]) Do(ctx context.Context, limit time.Duration, f func() T) (T, error) {
	var none T
	if c.pending != nil {
		select {
		case <-c.pending:
		default:
			return none, fmt.Errorf("the kernel still has not answered: %w", sensor.ErrTimeout)
		}
	}
	done := make(chan T, 1)
	c.pending = done
	go func() { done <- f() }()
	bounded, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	select {
	case v := <-done:
		c.pending = nil
		return v, nil
	case <-bounded.Done():
		if err := ctx.Err(); err != nil {
			return none, err
		}
		return none, fmt.Errorf("the kernel did not answer in %v: %w", limit, sensor.ErrTimeout)
	}
}
