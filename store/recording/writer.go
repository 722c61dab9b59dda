package recording

import (
	"encoding/json"
	"io"
	"strconv"
	"strings"
	"time"

	"nightjar/rise"
)

// flushBytes is how much a Writer gathers before it writes.
const flushBytes = 64 << 10

// Writer writes readings as CSV. The first error ends it and is returned by everything after.
type Writer struct {
	w       io.Writer
	b       []byte
	err     error
	begun   bool
	derived bool
	actions []rise.Action // those that are not written yet, in the order of telling
	clock   clock
	etas    clock
}

// NewWriter returns a Writer. With derived set each row has the derived columns too.
func NewWriter(w io.Writer, derived bool) *Writer {
	return &Writer{w: w, derived: derived, b: make([]byte, 0, flushBytes+4096)}
}

// Actions hands over the actions of the run, in the order in which they were told, before any reading. Each is written
// before the first reading taken after it was told, the rest by Flush.
func (w *Writer) Actions(as []rise.Action) { w.actions = append(w.actions, as...) }

// Write writes a reading, and e if the derived columns are wanted.
func (w *Writer) Write(r rise.Reading, e rise.Estimate) error {
	w.begin()
	for len(w.actions) > 0 && !r.Before(w.actions[0].At.Stamp) {
		w.action()
	}
	w.raw(&r)
	if w.derived {
		w.estimate(&e)
	}
	return w.end()
}

// Flush writes the actions that are left and everything gathered.
func (w *Writer) Flush() error {
	w.begin()
	for len(w.actions) > 0 {
		w.action()
	}
	w.send()
	return w.err
}

func (w *Writer) begin() {
	if w.begun {
		return
	}
	w.begun = true
	w.b = append(w.b, strings.Join(Raw, ",")...)
	if w.derived {
		w.b = append(w.b, ',')
		w.b = append(w.b, strings.Join(Derived, ",")...)
	}
	_ = w.end()
}

// end ends a row, as RFC 4180 wants.
func (w *Writer) end() error {
	w.b = append(w.b, '\r', '\n')
	if len(w.b) >= flushBytes {
		w.send()
	}
	return w.err
}

func (w *Writer) send() {
	if w.err == nil && len(w.b) > 0 {
		_, w.err = w.w.Write(w.b)
	}
	w.b = w.b[:0]
}

func (w *Writer) raw(r *rise.Reading) {
	b := append(w.clock.append(w.b, r.Time), ',')
	b = append(num(b, r.RangeMM, 2), ',')
	b = append(temperature(b, r.JarC), ',')
	b = append(temperature(b, r.DoughC), ',')
	b = append(temperature(b, r.RoomC), ',')
	b = append(num(b, r.RoomRH, 2), ',')
	b = append(num(b, r.SpreadMM, 2), ',')
	b = append(strconv.AppendInt(b, int64(r.Valid), 10), ',')
	b = append(strconv.AppendInt(b, int64(r.Of), 10), ',')
	b = append(num(b, r.SignalMcps, 2), ',')
	b = append(num(b, r.AmbientMcps, 2), ',')
	b = append(num(b, r.SigmaMM, 2), ',')
	b = append(statuses(b, &r.Statuses), ',')
	b = append(quote(b, string(r.Fault)), ',', ',')
	w.b = stamp(b, r.Stamp)
}

// statuses appends the counts, those at the end that are 0 left out.
func statuses(b []byte, counts *[rise.StatusCount]uint16) []byte {
	n := len(counts)
	for n > 1 && counts[n-1] == 0 {
		n--
	}
	for i, c := range counts[:n] {
		if i > 0 {
			b = append(b, ' ')
		}
		b = strconv.AppendInt(b, int64(c), 10)
	}
	return b
}

func stamp(b []byte, s rise.Stamp) []byte {
	b = append(strconv.AppendUint(b, uint64(s.Boot), 10), ',')
	return fixed(b, s.At.Milliseconds(), 3)
}

// action writes the next action as a row of its own.
func (w *Writer) action() {
	a := w.actions[0]
	w.actions = w.actions[1:]
	j, err := json.Marshal(a)
	if err != nil && w.err == nil {
		w.err = err
	}
	b := w.clock.append(w.b, a.At.Wall)
	for range 14 { // as far as the column of actions
		b = append(b, ',')
	}
	b = append(quote(b, string(j)), ',')
	b = stamp(b, a.At.Stamp)
	if w.derived {
		for range Derived {
			b = append(b, ',')
		}
	}
	w.b = b
	_ = w.end()
}

func (w *Writer) estimate(e *rise.Estimate) {
	b := append(w.b, ',')
	b = append(num(b, e.LevelMM, 2), ',')
	b = append(num(b, e.Multiple, 4), ',')
	b = append(num(b, e.MultipleU, 4), ',')
	b = append(num(b, e.RisePct(), 2), ',')
	b = append(num(b, e.RatePctH, 2), ',')
	b = append(append(b, e.Phase...), ',')
	for _, eta := range []time.Time{e.Forecast.P10, e.Forecast.P50, e.Forecast.P90} {
		b = append(w.etas.append(b, eta.Round(time.Second)), ',')
	}
	b = append(quote(b, e.Forecast.Reason), ',')
	w.b = num(b, e.DoughMultiple, 4)
}
