package notify

import (
	"encoding/json"
	"time"

	"nightjar/rise"
)

// Schema is the version of the JSON of alerts. A field may be added without a new version; none is changed or removed.
const Schema = 1

// Message is an alert as it leaves the door. Unknown fields are null.
type Message struct {
	Schema int `json:"schema"`
	// ID is the same each time the same alert is sent; a consumer drops an id that it has seen.
	ID    string          `json:"id"`
	Kind  rise.AlertKind  `json:"kind"`
	Level rise.AlertLevel `json:"level"`
	// Time is when the alert was issued, UTC; null if that is unknown.
	Time        *time.Time       `json:"time"`
	TimeQuality rise.TimeQuality `json:"time_quality"`
	Station     string           `json:"station"`
	Run         *int             `json:"run"`
	Text        string           `json:"text"`
	// Repeats is the id of the first ring of which this is a repeat, N the count of rings, from 1.
	Repeats *string `json:"repeats"`
	N       int     `json:"n"`
}

// NewMessage is the message of an alert.
func NewMessage(a rise.Alert) Message {
	m := Message{
		Schema: Schema, ID: a.ID, Kind: a.Kind, Level: a.Level, TimeQuality: a.Quality, Station: a.Station, Text: a.Text,
		N: max(a.N, 1),
	}
	if !a.Issued.Wall.IsZero() && a.Quality != rise.TimeUnknown {
		m.Time = new(a.Issued.Wall.UTC())
	}
	if a.Run != 0 {
		m.Run = &a.Run
	}
	if a.Repeats != "" {
		m.Repeats = &a.Repeats
	}
	return m
}

// JSON is the message as one line of JSON.
func (m Message) JSON() []byte {
	b, err := json.Marshal(m)
	if err != nil { // strings, numbers and a time between the years 0 and 9999 always encode
		m.Time = nil
		b, _ = json.Marshal(m)
	}
	return b
}
