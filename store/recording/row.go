package recording

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"nightjar/rise"
)

const numberRemedy = "Write a plain number with a point, such as 81.25, or leave the field empty where it is unknown."

// field returns a column's text without spaces around it, and its place from 1; empty if there is no such column.
func (r *reader) field(name string) (string, int) {
	i, ok := r.col[name]
	if !ok {
		return "", 0
	}
	return strings.TrimSpace(r.row[i]), i + 1
}

// take reads a row.
func (r *reader) take() error {
	at, err := r.moment()
	if err != nil {
		return err
	}
	isReading, err := r.action(at)
	if err != nil || !isReading {
		return err
	}
	return r.reading(at)
}

// moment reads a row's time and stamp, and checks that time does not run back.
func (r *reader) moment() (rise.Moment, error) {
	wall, seconds, err := r.time()
	if err != nil {
		return rise.Moment{}, err
	}
	m := rise.Moment{Wall: wall}
	_, order := r.col[colBoot]
	column := r.col[colTime] + 1
	if order {
		if m.Stamp, err = r.bootStamp(); err != nil {
			return m, err
		}
		column = r.col[colBootS] + 1
	} else if r.plain {
		m.At = seconds
	} else {
		if r.first.IsZero() {
			r.first = wall
		}
		m.At = wall.Sub(r.first)
	}
	if r.any && m.Before(r.last) {
		return m, r.bad(column, r.header[column-1], "runs back: the row before is later",
			"Sort the rows by time, or split the file where the clock was set.")
	}
	r.last, r.any = m.Stamp, true
	return m, nil
}

// time reads the column of times. All must be of the kind of the first; where boot and boot_s stand one may be unknown.
func (r *reader) time() (wall time.Time, seconds time.Duration, err error) {
	s, column := r.field(colTime)
	_, order := r.col[colBoot]
	if s == "" && order {
		return time.Time{}, 0, nil
	}
	const remedy = "Times are all RFC 3339, such as 2026-05-01T21:30:00Z, or all seconds from the start."
	if v, ok := number(s); ok && (r.plain || !r.any) {
		if math.Abs(v) > 1e9 {
			return wall, 0, r.bad(column, colTime, strconv.Quote(s)+" is out of range", remedy)
		}
		r.plain = true
		d := time.Duration(math.Round(v * 1e9))
		return r.o.Start.Add(d), d, nil
	}
	wall, perr := time.Parse(time.RFC3339, s)
	if perr != nil || r.plain {
		return wall, 0, r.bad(column, colTime, strconv.Quote(s)+" is no time as the others", remedy)
	}
	return wall.UTC(), 0, nil
}

func (r *reader) bootStamp() (rise.Stamp, error) {
	s, column := r.field(colBoot)
	boot, err := strconv.ParseUint(s, 10, 32)
	if err != nil {
		return rise.Stamp{}, r.bad(column, colBoot, strconv.Quote(s)+" is no number of a boot", "Export it again, or remove boot and boot_s.")
	}
	s, column = r.field(colBootS)
	v, ok := number(s)
	if !ok || v < 0 || v > 1e9 {
		return rise.Stamp{}, r.bad(column, colBootS, strconv.Quote(s)+" is no count of seconds", "Export it again, or remove boot and boot_s.")
	}
	return rise.Stamp{Boot: uint32(boot), At: time.Duration(math.Round(v * 1e9))}, nil
}

// action reads a row's action, if it has one, and reports whether the row is a reading too.
func (r *reader) action(at rise.Moment) (isReading bool, err error) {
	s, column := r.field(colAction)
	if s == "" {
		return true, nil
	}
	var a rise.Action
	if err := json.Unmarshal([]byte(s), &a); err != nil {
		return false, r.bad(column, colAction, err.Error(), "An action is a JSON object, such as {\"kind\":\"note\",\"text\":\"folded\"}.")
	}
	if !knownKind(a.Kind) {
		return false, r.bad(column, colAction, strconv.Quote(string(a.Kind))+" is no kind of action", "See 'nightjar help' for the kinds.")
	}
	if a.At.IsZero() {
		a.At = at
	}
	if a.When.IsZero() {
		a.When = a.At
	}
	if a.Start != nil && r.c.Run.Station == "" && r.c.Run.Started.IsZero() {
		r.c.Run = *a.Start
	}
	if a.Kind == rise.ActionEnd {
		r.c.Run.End, r.c.Run.EndReason = a.When, "end"
	}
	r.c.Actions = append(r.c.Actions, a)
	for name := range r.col {
		if v, _ := r.field(name); v != "" && name != colTime && name != colAction && name != colBoot && name != colBootS {
			return true, nil
		}
	}
	return false, nil
}

func knownKind(k rise.ActionKind) bool {
	for _, known := range rise.ActionKinds {
		if k == known {
			return true
		}
	}
	return false
}

// reading reads a row's raw columns.
func (r *reader) reading(at rise.Moment) error {
	rd := rise.Reading{Stamp: at.Stamp, Time: at.Wall, Quality: rise.TimeSynced}
	if r.plain || at.Wall.IsZero() {
		rd.Quality = rise.TimeUnknown
	}
	if err := r.numbers(&rd); err != nil {
		return err
	}
	if err := r.counts(&rd); err != nil {
		return err
	}
	fault, column := r.field("fault")
	if len(fault) > 64 {
		return r.bad(column, "fault", "longer than 64 characters", "A fault is one word.")
	}
	rd.Fault = rise.Fault(fault)
	r.c.Readings = append(r.c.Readings, rd)
	return nil
}

func (r *reader) numbers(rd *rise.Reading) error {
	for _, f := range []struct {
		name string
		to   *rise.Num
	}{
		{"jar_c", &rd.JarC}, {"dough_c", &rd.DoughC}, {"room_c", &rd.RoomC}, {"room_rh", &rd.RoomRH},
		{"spread_mm", &rd.SpreadMM}, {"signal", &rd.SignalMcps}, {"ambient", &rd.AmbientMcps}, {"sigma_mm", &rd.SigmaMM},
	} {
		if err := r.number(f.name, f.to); err != nil {
			return err
		}
	}
	if r.levels {
		return r.number(colLevel, &rd.LevelMM)
	}
	return r.number(colRange, &rd.RangeMM)
}

func (r *reader) number(name string, to *rise.Num) error {
	s, column := r.field(name)
	if s == "" {
		return nil
	}
	v, ok := number(s)
	if !ok || math.Abs(v) > 1e9 {
		return r.bad(column, name, strconv.Quote(s)+" is no number", numberRemedy)
	}
	*to = rise.Known(v)
	return nil
}

// number parses a plain decimal number; none of the other spellings that Go knows.
func number(s string) (float64, bool) {
	if s == "" || strings.ContainsFunc(s, func(c rune) bool { return !strings.ContainsRune("0123456789+-.eE", c) }) {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil
}

// counts reads valid, of and statuses. A row that has none of them is one good range, or none.
func (r *reader) counts(rd *rise.Reading) error {
	valid, hasValid, err := r.count("valid")
	if err != nil {
		return err
	}
	of, hasOf, err := r.count("of")
	if err != nil {
		return err
	}
	s, column := r.field("statuses")
	for i, f := range strings.Fields(s) {
		n, err := strconv.ParseUint(f, 10, 16)
		if err != nil || i >= rise.StatusCount {
			return r.bad(column, "statuses", strconv.Quote(s)+" are no counts", "Write at most 7 counts with spaces between.")
		}
		rd.Statuses[i] = uint16(n)
	}
	if good := rd.RangeMM.IsKnown() || rd.LevelMM.IsKnown(); good && !hasValid && !hasOf && s == "" {
		valid, of, rd.Statuses[rise.StatusGood] = 1, 1, 1
	} else if !hasOf {
		of = valid
	} else if !hasValid && good {
		valid = of
	}
	if valid > of {
		_, column := r.field("valid")
		return r.bad(column, "valid", "more ranges valid than were taken", "valid is at most of.")
	}
	rd.Valid, rd.Of = valid, of
	return nil
}

func (r *reader) count(name string) (n int, has bool, err error) {
	s, column := r.field(name)
	if s == "" {
		return 0, false, nil
	}
	v, perr := strconv.ParseUint(s, 10, 16)
	if perr != nil {
		return 0, false, r.bad(column, name, strconv.Quote(s)+" is no count", "Write a whole number, or leave the field empty.")
	}
	return int(v), true, nil
}
