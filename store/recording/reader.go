package recording

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"nightjar/rise"
)

// Options say how a recording is read.
type Options struct {
	// Levels takes level_mm where both it and range_mm stand: for a reader that knows no jar. Otherwise range_mm is taken,
	// and level_mm only where there is no such column.
	Levels bool
	// Start is the moment that times in plain seconds count from; zero is the beginning of 1970, UTC.
	Start time.Time
}

// ReadFile reads a recording in either form, which it tells by its first character.
func ReadFile(path string, o Options) (rise.Case, error) {
	f, err := os.Open(path)
	if err != nil {
		return rise.Case{}, fmt.Errorf("read recording: %w", err)
	}
	defer f.Close()
	return Read(f, path, o)
}

// Read reads a recording in either form. The name stands in errors, which are of type Error where the text is at fault.
//
// The case has the readings and actions in order. Its Run is the JSON form's, or in CSV the one of the start action, if
// there is one; its Jar stands only in the JSON form; Past is empty.
func Read(r io.Reader, name string, o Options) (rise.Case, error) {
	b := bufio.NewReaderSize(r, 64<<10)
	if bom, _ := b.Peek(3); bytes.Equal(bom, []byte("\xef\xbb\xbf")) {
		_, _ = b.Discard(3)
	}
	first, err := firstChar(b)
	if err != nil && !errors.Is(err, io.EOF) {
		return rise.Case{}, fmt.Errorf("read recording %s: %w", name, err)
	}
	if first == '{' {
		return readJSON(b, name)
	}
	return readCSV(b, name, o)
}

// firstChar peeks at the first character that is no space.
func firstChar(b *bufio.Reader) (byte, error) {
	for n := 1; ; n++ {
		p, err := b.Peek(n)
		if len(p) < n {
			return 0, err
		}
		if c := p[n-1]; c != ' ' && c != '\n' && c != '\r' && c != '\t' {
			return c, nil
		}
	}
}

// reader reads one CSV recording.
type reader struct {
	name   string
	o      Options
	csv    *csv.Reader
	header []string
	row    []string
	line   int
	col    map[string]int // where known columns are
	levels bool           // whether level_mm is taken
	first  time.Time      // the time of the first row, if times are RFC 3339
	last   rise.Stamp
	any    bool
	plain  bool // times are plain seconds
	c      rise.Case
}

func readCSV(in io.Reader, name string, o Options) (rise.Case, error) {
	r := &reader{name: name, o: o, csv: csv.NewReader(in)}
	r.csv.ReuseRecord = true
	if r.o.Start.IsZero() {
		r.o.Start = time.Unix(0, 0).UTC()
	}
	if err := r.readHeader(); err != nil {
		return rise.Case{}, err
	}
	for {
		more, err := r.next()
		if err != nil {
			return rise.Case{}, err
		}
		if !more {
			break
		}
		if err := r.take(); err != nil {
			return rise.Case{}, err
		}
	}
	if len(r.c.Readings) == 0 {
		return rise.Case{}, &Error{File: name, Line: r.line, Msg: "no reading in it", Remedy: "Was the file cut short? Export it again."}
	}
	return r.c, nil
}

// next reads the next row; false at the end.
func (r *reader) next() (bool, error) {
	row, err := r.csv.Read()
	var pe *csv.ParseError
	switch {
	case errors.Is(err, io.EOF):
		return false, nil
	case errors.Is(err, csv.ErrFieldCount):
		r.line, _ = r.csv.FieldPos(0)
		return false, r.bad(len(row), "", fmt.Sprintf("%d fields where the header has %d", len(row), len(r.header)),
			"A row may have been cut off: remove it, or export again.")
	case errors.As(err, &pe):
		return false, &Error{File: r.name, Line: pe.Line, Column: pe.Column, Msg: pe.Err.Error(),
			Remedy: "Quote a field that holds a comma, a quote or a line break, and double the quotes in it (RFC 4180)."}
	case err != nil:
		return false, fmt.Errorf("read recording %s: %w", r.name, err)
	}
	r.row = row
	r.line, _ = r.csv.FieldPos(0)
	return true, nil
}

func (r *reader) bad(column int, name, msg, remedy string) error {
	return &Error{File: r.name, Line: r.line, Column: column, Name: name, Msg: msg, Remedy: remedy}
}

func (r *reader) readHeader() error {
	more, err := r.next()
	if err != nil {
		return err
	}
	if !more {
		return &Error{File: r.name, Line: 1, Msg: "empty", Remedy: "A recording begins with a row of column names, such as time,range_mm."}
	}
	r.header = slices.Clone(r.row)
	r.col = map[string]int{}
	for i, h := range r.header {
		h = strings.TrimSpace(h)
		if slices.Contains(Raw, h) || h == colLevel {
			if j, twice := r.col[h]; twice {
				return r.bad(i+1, h, fmt.Sprintf("stands in column %d already", j+1), "Remove one of the two.")
			}
			r.col[h] = i
		}
	}
	return r.checkHeader()
}

func (r *reader) checkHeader() error {
	_, hasTime := r.col[colTime]
	_, hasRange := r.col[colRange]
	_, hasLevel := r.col[colLevel]
	_, hasBoot := r.col[colBoot]
	_, hasBootS := r.col[colBootS]
	r.levels = hasLevel && (r.o.Levels || !hasRange)
	switch {
	case len(r.header) == 1 && strings.ContainsAny(r.header[0], ";\t"):
		return r.bad(1, "", "columns are not parted by commas", "Save it as CSV with commas, and with points in numbers.")
	case !hasTime:
		return r.bad(0, "", "no column time", "The first row must name the columns; time is RFC 3339 or seconds from the start.")
	case !hasRange && !hasLevel:
		return r.bad(0, "", "no column range_mm or level_mm", "Name the column of distances range_mm, or of heights level_mm, in mm.")
	case hasBoot != hasBootS:
		return r.bad(0, "", "boot and boot_s must stand together", "Add the other column, or remove this one.")
	}
	return nil
}
