package replay

import (
	"encoding/json"
	"io"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Line is one line of a replay: what was known at its time, and the alerts told then.
type Line struct {
	api.Point
	Alerts []Alert `json:"alerts"`
}

// Alert is an alert that would have been told.
type Alert struct {
	Kind rise.AlertKind `json:"kind"`
	Time time.Time      `json:"time"`
	// text is what the baker would have read.
	text string
}

// bell remembers the alerts that were told: each kind and episode is told once.
type bell map[struct {
	kind    rise.AlertKind
	episode int
}]bool

// news lists the alerts that are told with an estimate.
func (b bell) news(e rise.Estimate) []Alert {
	alerts := []Alert{}
	for _, h := range e.Holds {
		key := struct {
			kind    rise.AlertKind
			episode int
		}{h.Kind, h.Episode}
		if !b[key] {
			b[key] = true
			alerts = append(alerts, Alert{Kind: h.Kind, Time: e.Time, text: h.Text})
		}
	}
	return alerts
}

// printer prints a replay.
type printer interface {
	begin(file string, c rise.Case) error
	line(l Line, r rise.Reading) error
	end(s Summary) error
}

// lines prints a JSON object a line.
type lines struct{ w io.Writer }

func (l *lines) begin(string, rise.Case) error { return nil }

func (l *lines) line(line Line, _ rise.Reading) error { return json.NewEncoder(l.w).Encode(line) }

func (l *lines) end(s Summary) error {
	return json.NewEncoder(l.w).Encode(struct {
		Summary Summary `json:"summary"`
	}{s})
}
