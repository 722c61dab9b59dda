package notify

import (
	"fmt"
	"slices"
	"time"

	"nightjar/rise"
)

const (
	// oldest is the age at which an alert tells nobody anything any more.
	oldest = 24 * time.Hour
	// oldestTest is that of a test: whoever tried the routes has gone to bed.
	oldestTest = time.Hour
)

// Verdict is a pending delivery that need not be sent, with the state to settle it in and the reason.
type Verdict struct {
	rise.Delivery
	State rise.DeliveryState
	Why   string
}

// Triage parts the pending deliveries of a route, oldest first, into those that are no longer worth sending and the
// rest, in the same order. It looks at nothing else, so the answer is the same however often it is asked.
//
//   - What a person has acknowledged is delivered.
//   - A soon is worthless once the same run is ready, past its target or falling; a ring once a later ring of the same
//     alert waits behind it; a fault or away once restored waits behind it; a bedtime message behind a newer one or
//     once it is ready.
//   - Anything issued more than a day ago, a test an hour, by a clock that was set, is worthless.
//
// What must not be told yet is in neither.
func Triage(pending []rise.Delivery, now time.Time) (worthless []Verdict, rest []rise.Delivery) {
	for i, d := range pending {
		switch why := obsolete(d.Alert, pending[i+1:], now); {
		case !d.Alert.Acked.IsZero():
			worthless = append(worthless, Verdict{d, rise.DeliveryDelivered, "acknowledged"})
		case why != "":
			worthless = append(worthless, Verdict{d, rise.DeliveryExpired, why})
		case now.Before(d.Alert.NotBefore):
		default:
			rest = append(rest, d)
		}
	}
	return worthless, rest
}

// obsolete says why a need not be sent, given what waits behind it, or returns the empty string.
func obsolete(a rise.Alert, later []rise.Delivery, now time.Time) string {
	for _, l := range later {
		if l.Alert.Station == a.Station && l.Alert.Run == a.Run && overtakes(l.Alert, a) {
			return fmt.Sprintf("overtaken by %s %s", l.Alert.Kind, l.Alert.ID)
		}
	}
	limit := oldest
	if a.Kind == rise.AlertTest {
		limit = oldestTest
	}
	if age := now.Sub(a.Issued.Wall); a.Quality == rise.TimeSynced && age > limit {
		return fmt.Sprintf("issued %d h ago", int(age.Hours()))
	}
	return ""
}

// overtakes reports whether the later alert makes the earlier one, of the same station and run, worthless.
func overtakes(later, earlier rise.Alert) bool {
	if later.Repeats != "" && (later.Repeats == earlier.ID || later.Repeats == earlier.Repeats) {
		return true
	}
	switch earlier.Kind {
	case rise.AlertBedtime:
		return later.Kind == rise.AlertBedtime || later.Kind == rise.AlertReady
	case rise.AlertSoon:
		return slices.Contains([]rise.AlertKind{rise.AlertReady, rise.AlertPast, rise.AlertFalling}, later.Kind)
	case rise.AlertFault, rise.AlertAway:
		return later.Kind == rise.AlertRestored
	}
	return false
}
