package recording

import "fmt"

// Error is a place in a recording that cannot be read.
type Error struct {
	// File is the recording's name, Line and Column where in it, both from 1 and 0 where they mean nothing: the column
	// is that of the field in its row in CSV, and of the character in JSON.
	File         string
	Line, Column int
	// Name is the field's column; empty if it is none.
	Name string
	// Msg says what is wrong, Remedy what to do.
	Msg, Remedy string
}

// Error names the place and what is wrong there.
func (e *Error) Error() string {
	s := e.File
	if e.Line > 0 {
		s += fmt.Sprintf(":%d", e.Line)
	}
	if e.Column > 0 {
		s += fmt.Sprintf(":%d", e.Column)
	}
	if e.Name != "" {
		s += ": " + e.Name
	}
	return s + ": " + e.Msg
}

// Hint is the remedy.
func (e *Error) Hint() string { return e.Remedy }
