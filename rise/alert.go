package rise

import (
	"slices"
	"time"
)

// AlertKind is what the baker must know.
type AlertKind string

// The kinds of alert. Away, fault, restored and test need no run.
const (
	AlertSoon     AlertKind = "soon"
	AlertReady    AlertKind = "ready"
	AlertPast     AlertKind = "past"
	AlertFalling  AlertKind = "falling"
	AlertSlow     AlertKind = "slow"
	AlertCold     AlertKind = "cold"
	AlertWarm     AlertKind = "warm"
	AlertAway     AlertKind = "away"
	AlertFault    AlertKind = "fault"
	AlertRestored AlertKind = "restored"
	// AlertBedtime tells in the evening how the night looks; AlertTest proves that a route reaches a person.
	AlertBedtime AlertKind = "bedtime"
	AlertTest    AlertKind = "test"
)

// AlertKinds lists every kind.
var AlertKinds = []AlertKind{AlertSoon, AlertReady, AlertPast, AlertFalling, AlertSlow, AlertCold, AlertWarm, AlertAway, AlertFault, AlertRestored, AlertBedtime, AlertTest}

// NeedsRun reports whether alerts of the kind belong to a run.
func (k AlertKind) NeedsRun() bool {
	return !slices.Contains([]AlertKind{AlertAway, AlertFault, AlertRestored, AlertTest}, k)
}

// AlertLevel is how loudly an alert is told.
type AlertLevel string

// The levels.
const (
	LevelQuiet   AlertLevel = "quiet"
	LevelWarning AlertLevel = "warning"
	// LevelWakes rings.
	LevelWakes AlertLevel = "wakes"
)

// Level is the level at which a kind of alert is told unless something else decides.
func (k AlertKind) Level() AlertLevel {
	switch k {
	case AlertReady, AlertPast, AlertFalling, AlertTest:
		return LevelWakes
	case AlertSlow, AlertCold, AlertWarm, AlertFault, AlertAway:
		return LevelWarning
	}
	return LevelQuiet
}

// Condition is an alert whose condition holds. Kind and Episode identify it within its run.
type Condition struct {
	Kind AlertKind `json:"kind"`
	// Episode counts the times the condition began to hold anew, from 1.
	Episode int `json:"episode"`
	// Since is when it began to hold, UTC.
	Since time.Time `json:"since"`
	// Text is what to tell the baker, one or two plain sentences. It names no clock times: whoever shows it knows the zone.
	Text string `json:"text"`
	// ActingHelps tells, of a slow dough, that what can still be done now may bring it back to the plan.
	ActingHelps bool `json:"acting_helps,omitempty"`
	// Unseen tells that it came to hold while nothing was read, in an outage. UnseenFrom and UnseenTo bound that time, UTC;
	// both are zero where the clock was not set, so that nobody knows how long it was.
	Unseen     bool      `json:"unseen,omitempty"`
	UnseenFrom time.Time `json:"unseen_from,omitzero"`
	UnseenTo   time.Time `json:"unseen_to,omitzero"`
}

// Alert is an issued alert: a fact, stored in the same transaction that queues it for delivery.
type Alert struct {
	// ID is device, first 8 hex digits of the kernel's boot id, sequence. It is the same each time it is sent again.
	ID      string     `json:"id"`
	Kind    AlertKind  `json:"kind"`
	Level   AlertLevel `json:"level"`
	Station string     `json:"station"`
	// Run is 0 for alerts without one.
	Run     int `json:"run,omitempty"`
	Episode int `json:"episode"`
	// Issued is when it was decided.
	Issued  Moment      `json:"issued"`
	Quality TimeQuality `json:"time_quality"`
	Text    string      `json:"text"`
	// Repeats is the id of the first ring of which this is a repeat, N the count of rings, from 1.
	Repeats string `json:"repeats,omitempty"`
	N       int    `json:"n"`
	// NotBefore is when it may be told at the earliest, UTC: what does not wake waits for the morning. Zero is at once.
	NotBefore time.Time `json:"not_before,omitzero"`
	// Setup holds, in a test, the fingerprint of each route as it was configured: a test proves nothing about others.
	Setup map[string]string `json:"setup,omitempty"`
	// Latest is, in a bedtime message, the time by which the dough is ready at the latest, UTC.
	Latest time.Time `json:"latest,omitzero"`
	// Acked is when a person acknowledged it; zero while it is active.
	Acked Moment `json:"acked,omitzero"`
}

// DeliveryState is how far an alert has come on one route.
type DeliveryState string

// The states of a delivery.
const (
	DeliveryPending   DeliveryState = "pending"
	DeliveryDelivered DeliveryState = "delivered"
	// DeliveryExpired was given up because it was no longer worth sending.
	DeliveryExpired DeliveryState = "expired"
)

// Delivery is one alert on one route out of the door.
type Delivery struct {
	Alert Alert         `json:"alert"`
	Route string        `json:"route"`
	State DeliveryState `json:"state"`
	// Attempts counts the tries that the store was told of; Why is the last one's trouble.
	Attempts int    `json:"attempts,omitempty"`
	Why      string `json:"why,omitempty"`
	// Settled is when it left the pending state.
	Settled Moment `json:"settled,omitzero"`
}
