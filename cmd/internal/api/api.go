// Package api declares the JSON interface between the daemon and everything a person uses: the commands, the page and
// the MQTT command topic. It holds types and paths only.
//
// Actions of every kind are posted to one path and answered when they are durable. Errors are answered with a status
// of 400 (the request is wrong), 404 (no such thing), 409 (refused as things stand) or 500, and a Problem as body.
package api

import (
	"time"

	"nightjar/rise"
)

// The paths. {n} is a run's number, {name} a jar's name; @V may follow a name to ask for a version.
const (
	PathVersion = "GET /api/version"
	PathStatus  = "GET /api/status"
	PathRuns    = "GET /api/runs"
	PathRun     = "GET /api/runs/{n}"
	// PathSeries takes every=DURATION (default 5m): the shortest spacing of the points.
	PathSeries = "GET /api/runs/{n}/series"
	// PathExport takes format=csv|json.
	PathExport  = "GET /api/runs/{n}/export"
	PathActions = "POST /api/actions"
	PathJars    = "GET /api/jars"
	PathJar     = "GET /api/jars/{name}"
	PathAddJar  = "POST /api/jars"
	// PathBackup answers a consistent copy of the store, as bytes.
	PathBackup = "GET /api/backup"
)

// Problem is the body of an error.
type Problem struct {
	// Error says what happened, Hint what to do about it.
	Error string `json:"error"`
	Hint  string `json:"hint,omitempty"`
}

// Version answers PathVersion.
type Version struct {
	Version string `json:"version"`
	Device  string `json:"device"`
	// Live tells that a daemon answers, not a command that opened the store itself.
	Live bool `json:"live"`
}

// Status answers PathStatus.
type Status struct {
	Time     time.Time       `json:"time"`
	Device   string          `json:"device"`
	Live     bool            `json:"live"`
	Stations []StationStatus `json:"stations"`
	// Health lists what is wrong now, with words for a person; empty is all well.
	Health []Health `json:"health"`
	// CanWake tells whether some route has been shown to reach a person; CanWakeWhy says why not.
	CanWake    bool   `json:"can_wake"`
	CanWakeWhy string `json:"can_wake_why,omitempty"`
	// OutcomeWanted lists the breads whose outcome is still to be told.
	OutcomeWanted []OutcomeWanted `json:"outcome_wanted,omitempty"`
}

// Health is one named condition that is wrong.
type Health struct {
	// Name is constant: "ranger", "probe", "broker", "store", "clock".
	Name    string    `json:"name"`
	Station string    `json:"station,omitempty"`
	Since   time.Time `json:"since"`
	Text    string    `json:"text"`
}

// StationStatus is how one station stands.
type StationStatus struct {
	State
	// Name is the open run's name, Jar its jar and version.
	Name string `json:"name,omitempty"`
	Jar  string `json:"jar,omitempty"`
	// LastReading is when the newest reading was taken, zero if there is none.
	LastReading time.Time `json:"last_reading,omitzero"`
	Fault       string    `json:"fault,omitempty"`
	// Alerts are the unacknowledged ones.
	Alerts []rise.Alert `json:"alerts,omitempty"`
}

// Point is one line of replay and one point of a series: what was known at its time.
type Point struct {
	Time          time.Time  `json:"time"`
	LevelMM       rise.Num   `json:"level_mm"`
	Multiple      rise.Num   `json:"multiple"`
	MultipleU     rise.Num   `json:"multiple_u"`
	RisePct       rise.Num   `json:"rise_pct"`
	RatePctH      rise.Num   `json:"rate_pct_h"`
	Phase         rise.Phase `json:"phase"`
	ETAP10        *time.Time `json:"eta_p10"`
	ETAP50        *time.Time `json:"eta_p50"`
	ETAP90        *time.Time `json:"eta_p90"`
	Reason        *string    `json:"reason"`
	DoughMultiple rise.Num   `json:"dough_multiple"`
}

// NewPoint is the point of an estimate, as fine as an export has it: to 0.01 mm, 0.01 % and 0.0001 of the multiple.
func NewPoint(e rise.Estimate) Point {
	p := Point{
		Time: e.Time, LevelMM: printed(e.LevelMM, 100), Multiple: printed(e.Multiple, 10000), MultipleU: printed(e.MultipleU, 10000),
		RisePct: printed(e.RisePct(), 100), RatePctH: printed(e.RatePctH, 100), Phase: e.Phase, DoughMultiple: printed(e.DoughMultiple, 10000),
		ETAP10: unlessZero(e.Forecast.P10), ETAP50: unlessZero(e.Forecast.P50), ETAP90: unlessZero(e.Forecast.P90),
	}
	if e.Forecast.Reason != "" {
		p.Reason = &e.Forecast.Reason
	}
	return p
}

// printed is a number in whole steps of 1/per.
func printed(n rise.Num, per float64) rise.Num {
	if s, ok := n.Steps(per); ok {
		return rise.FromSteps(s, per)
	}
	return rise.Num{}
}

func unlessZero(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// State is the retained MQTT state of a station: a Point and what stands around it.
type State struct {
	Point
	Station string   `json:"station"`
	JarC    rise.Num `json:"jar_c"`
	DoughC  rise.Num `json:"dough_c"`
	RoomC   rise.Num `json:"room_c"`
	// Run is the open run's number, null if there is none.
	Run    *int     `json:"run"`
	Target rise.Num `json:"target"`
	// Stale tells that the newest usable reading is too old to speak for now.
	Stale bool `json:"stale"`
	// Active lists the kinds of the unacknowledged alerts.
	Active []rise.AlertKind `json:"active"`
}

// Series answers PathSeries.
type Series struct {
	Run     rise.Run      `json:"run"`
	Points  []Point       `json:"points"`
	Actions []rise.Action `json:"actions"`
}

// ActionDone answers PathActions.
type ActionDone struct {
	Action rise.Action `json:"action"`
	// Run is the run that the action started, ended or belongs to.
	Run *rise.Run `json:"run,omitempty"`
	// Notices are for the person who did it: cautions, "this run cannot wake you".
	Notices []string `json:"notices,omitempty"`
}
