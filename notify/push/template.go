package push

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"mime"
	"slices"
	"strings"
	"text/template"
	"time"

	"nightjar/notify"
	"nightjar/rise"
)

// Data is what templates see.
type Data struct {
	notify.Message
	// Title is the kind and the station in words.
	Title string
	// Priority is 2 for quiet, 3 for a warning, 5 for what wakes: the scale from 1 to 5 that many services use.
	Priority int
	// Topic is that of the options.
	Topic string
	// AckURL is a link that acknowledges the alert; empty if there is none.
	AckURL string
}

var titles = map[rise.AlertKind]string{
	rise.AlertSoon: "Ready soon", rise.AlertReady: "Ready", rise.AlertPast: "Past its target", rise.AlertFalling: "Falling",
	rise.AlertSlow: "Slower than planned", rise.AlertCold: "Too cold", rise.AlertWarm: "Too warm",
	rise.AlertAway: "Jar taken out", rise.AlertFault: "Sensor trouble", rise.AlertRestored: "Back again",
	rise.AlertBedtime: "Tonight", rise.AlertTest: "Test",
}

var priorities = map[rise.AlertLevel]int{rise.LevelQuiet: 2, rise.LevelWarning: 3, rise.LevelWakes: 5}

func newData(a rise.Alert, topic, ack string) Data {
	d := Data{Message: notify.NewMessage(a), Title: titles[a.Kind], Priority: 3, Topic: topic, AckURL: ack}
	if p, ok := priorities[a.Level]; ok {
		d.Priority = p
	}
	if d.Title == "" {
		d.Title = string(a.Kind)
	}
	d.Title += ": " + a.Station
	if d.N > 1 {
		d.Title += fmt.Sprintf(" (ring %d)", d.N)
	}
	return d
}

// preset is a ready-made body with its headers.
type preset struct {
	body    string
	headers map[string]string
}

const jsonType = "application/json"

var presets = map[string]preset{
	"text": {"{{.Text}}", map[string]string{
		"Content-Type": "text/plain; charset=utf-8", "Title": "{{.Title}}", "Priority": "{{.Priority}}", "Tags": "{{.Kind}}",
	}},
	"json": {`{ {{- if .Topic}}"topic":{{json .Topic}},{{end -}}
"title":{{json .Title}},"message":{{json .Text}},"priority":{{.Priority}},"tags":[{{json .Kind}}]
{{- if .AckURL}},"actions":[{"action":"http","label":"I am up","url":{{json .AckURL}},"method":"POST","clear":true}]{{end}}}`,
		map[string]string{"Content-Type": jsonType}},
	"message": {"{{json .Message}}", map[string]string{"Content-Type": jsonType}},
}

// Presets lists the names of the presets.
func Presets() []string { return slices.Sorted(maps.Keys(presets)) }

var functions = template.FuncMap{
	"json": func(v any) (string, error) {
		b, err := json.Marshal(v)
		return string(b), err
	},
	"local": func(t *time.Time, layout string) string {
		if t == nil {
			return "at an unknown time"
		}
		return t.Local().Format(layout)
	},
}

func parse(what, text string) (*template.Template, error) {
	t, err := template.New(what).Option("missingkey=error").Funcs(functions).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("template of %s: %w", what, err)
	}
	return t, nil
}

func execute(t *template.Template, d Data) (string, error) {
	var b bytes.Buffer
	if err := t.Execute(&b, d); err != nil {
		return "", fmt.Errorf("template of %s: %w", t.Name(), err)
	}
	return b.String(), nil
}

// headerValue makes a value safe for a header: on one line, and beyond ASCII as RFC 2047 has it.
func headerValue(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
	return mime.QEncoding.Encode("utf-8", s)
}

// try runs the templates on the worst that an alert can hold, so that a mistake shows at start and not at night.
func (t *Target) try() error {
	nasty := "A \"quoted\" word, a \\, ümläute 🍞\nand a second line"
	for _, a := range []rise.Alert{
		{ID: "device-0a1b2c3d-1", Kind: rise.AlertReady, Level: rise.LevelWakes, Station: "main", Run: 1, Text: nasty, Repeats: "device-0a1b2c3d-0", N: 2,
			Issued: rise.Moment{Wall: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)}, Quality: rise.TimeSynced},
		{ID: "device-0a1b2c3d-2", Kind: rise.AlertFault, Level: rise.LevelWarning, Station: "main", Text: nasty, Quality: rise.TimeUnknown},
	} {
		body, headers, err := t.render(a)
		if err != nil {
			return err
		}
		kind, _, _ := mime.ParseMediaType(headers.Get("Content-Type"))
		if kind == jsonType && !json.Valid([]byte(body)) {
			return fmt.Errorf("the body is no JSON once a text holds quotes or a line break: write {{json .Text}}, without quotes around it, and the same for every other field")
		}
	}
	return nil
}
