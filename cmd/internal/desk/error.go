package desk

import (
	"errors"
	"fmt"
	"strings"

	"nightjar/store"
)

// Kind is what sort of error a person caused.
type Kind int

// The kinds of error.
const (
	// Bad is a request that can never be right.
	Bad Kind = iota
	// Missing is a request about something that does not exist.
	Missing
	// Refused is a request that could be right at another time.
	Refused
)

// Error is an error that a person can do something about.
type Error struct {
	Kind Kind
	// Msg says what is wrong, Remedy what to do about it.
	Msg, Remedy string
}

// Error says what is wrong.
func (e *Error) Error() string { return e.Msg }

// Hint says what to do about it.
func (e *Error) Hint() string { return e.Remedy }

// join puts the sentences of a remedy together, leaving out what is empty.
func join(parts ...string) string {
	var said []string
	for _, p := range parts {
		if p != "" {
			said = append(said, p)
		}
	}
	return strings.Join(said, " ")
}

// quantity is a number with the range in which it can be true, and the factors by which people slip.
type quantity struct {
	what      string
	low, high float64
	unit      string
	// slips are factors that turn a usual slip into what was meant: 100 for a share written for a percentage.
	slips []float64
	// likely bounds what a slip is corrected to; zero is low to high.
	likelyLow, likelyHigh float64
}

// The quantities that people give.
var (
	inoculation = quantity{what: "inoculation", low: 0.5, high: 100, unit: "%", slips: []float64{100, 0.01}, likelyLow: 5, likelyHigh: 60}
	hydration   = quantity{what: "hydration", low: 30, high: 300, unit: "%", slips: []float64{100, 0.01}}
	salt        = quantity{what: "salt", low: 0, high: 6, unit: "%", slips: []float64{0.1, 0.01, 0.001}, likelyLow: 0.5, likelyHigh: 4}
	doughMass   = quantity{what: "main dough", low: 0.05, high: 100, unit: "kg", slips: []float64{1000, 0.001}, likelyLow: 0.3, likelyHigh: 20}
	sampleMass  = quantity{what: "sample", low: 5, high: 2000, unit: "g", slips: []float64{1000, 0.001}, likelyLow: 20, likelyHigh: 1500}
	density     = quantity{what: "dough's density", low: 0.3, high: 1.5, unit: "g/ml", slips: []float64{0.001}}
	rulerHeight = quantity{what: "height by ruler", low: 5, high: 500, unit: "mm", slips: []float64{10, 0.1}, likelyLow: 15, likelyHigh: 150}
	baseLevel   = quantity{what: "base level", low: 5, high: 500, unit: "mm", slips: []float64{10, 0.1}, likelyLow: 15, likelyHigh: 150}
	baseDoubt   = quantity{what: "base level's uncertainty", low: 0, high: 20, unit: "mm", slips: []float64{0.1}}
	doughTemp   = quantity{what: "dough temperature", low: 0, high: 50, unit: "°C"}
	soonLead    = quantity{what: "lead time of the alert soon", low: 1, high: 720, unit: "min"}
	floor       = quantity{what: "floor distance", low: 40, high: 1000, unit: "mm", slips: []float64{10, 0.1, 1000}, likelyLow: 60, likelyHigh: 400}
	floorDoubt  = quantity{what: "floor distance's uncertainty", low: 0.05, high: 20, unit: "mm"}
	diameter    = quantity{what: "inner diameter", low: 20, high: 500, unit: "mm", slips: []float64{10, 0.1, 1000}, likelyLow: 30, likelyHigh: 250}
)

// check refuses a value that cannot be true, and says what may have been meant. A NaN is refused too.
func (q quantity) check(v float64) error {
	if v >= q.low && v <= q.high {
		return nil
	}
	return &Error{Kind: Bad, Msg: fmt.Sprintf("%s of %.4g %s cannot be", q.what, v, q.unit),
		Remedy: join(q.meant(v), fmt.Sprintf("Give it in %s, from %g to %g.", q.unit, q.low, q.high))}
}

// meant guesses what a value out of range was to be.
func (q quantity) meant(v float64) string {
	low, high := q.likelyLow, q.likelyHigh
	if high == 0 {
		low, high = q.low, q.high
	}
	if q.unit == "°C" {
		if c := (v - 32) / 1.8; c >= 10 && c <= 40 {
			return fmt.Sprintf("Did you mean %.1f °C? That is %g °F.", c, v)
		}
		return ""
	}
	for _, f := range q.slips {
		if m := v * f; m >= low && m <= high {
			return fmt.Sprintf("Did you mean %.4g %s?", m, q.unit)
		}
	}
	return ""
}

// told turns an error of the store into one that a person can do something about, where it is one.
func (d *Desk) told(err error) error {
	kinds := []struct {
		is   error
		kind Kind
	}{{store.ErrNotFound, Missing}, {store.ErrRunOpen, Refused}, {store.ErrRunClosed, Refused}, {store.ErrInvalid, Bad}}
	for _, k := range kinds {
		if errors.Is(err, k.is) {
			e := &Error{Kind: k.kind, Msg: err.Error()}
			if h, ok := errors.AsType[*store.Hint](err); ok {
				e.Remedy = h.Remedy
			}
			return e
		}
	}
	return err
}
