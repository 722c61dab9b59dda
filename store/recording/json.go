package recording

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"nightjar/rise"
)

// document is the JSON form.
type document struct {
	Run      rise.Run       `json:"run"`
	Jar      rise.Jar       `json:"jar"`
	Actions  []rise.Action  `json:"actions"`
	Readings []rise.Reading `json:"readings"`
}

// WriteJSON writes a run in the JSON form. Past runs are not part of it.
func WriteJSON(w io.Writer, c rise.Case) error {
	d := document{Run: c.Run, Jar: c.Jar, Actions: c.Actions, Readings: c.Readings}
	if d.Actions == nil {
		d.Actions = []rise.Action{}
	}
	if d.Readings == nil {
		d.Readings = []rise.Reading{}
	}
	return json.NewEncoder(w).Encode(d)
}

func readJSON(in io.Reader, name string) (rise.Case, error) {
	b, err := io.ReadAll(in)
	if err != nil {
		return rise.Case{}, fmt.Errorf("read recording %s: %w", name, err)
	}
	var d document
	if err := json.Unmarshal(b, &d); err != nil {
		return rise.Case{}, jsonError(name, b, err)
	}
	if len(d.Readings) == 0 {
		return rise.Case{}, &Error{File: name, Msg: "no reading in it", Remedy: "Was the file cut short? Export it again."}
	}
	for i := 1; i < len(d.Readings); i++ {
		if d.Readings[i].Before(d.Readings[i-1].Stamp) {
			return rise.Case{}, &Error{File: name, Name: fmt.Sprintf("readings[%d]", i), Msg: "runs back: the reading before is later",
				Remedy: "Sort the readings by boot and at."}
		}
	}
	for i, a := range d.Actions {
		if !knownKind(a.Kind) {
			return rise.Case{}, &Error{File: name, Name: fmt.Sprintf("actions[%d]", i), Msg: fmt.Sprintf("%q is no kind of action", a.Kind),
				Remedy: "See 'nightjar help' for the kinds."}
		}
	}
	return rise.Case{Run: d.Run, Jar: d.Jar, Actions: d.Actions, Readings: d.Readings}, nil
}

// jsonError says where in the text the trouble is.
func jsonError(name string, b []byte, err error) error {
	e := &Error{File: name, Msg: err.Error(), Remedy: "Was the file cut short or edited? Export it again."}
	at := int64(-1)
	if s, ok := errors.AsType[*json.SyntaxError](err); ok {
		at = s.Offset
	}
	if u, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		at, e.Name, e.Msg = u.Offset, u.Field, u.Value+" does not belong here"
	}
	if at >= 0 && at <= int64(len(b)) {
		before := b[:at]
		e.Line = 1 + bytes.Count(before, []byte("\n"))
		e.Column = len(before) - (bytes.LastIndexByte(before, '\n') + 1)
	}
	return e
}
