package api

import "nightjar/rise"

// The paths of the ways out of the door. {id} is an alert's.
const (
	// PathTest sends a test on every route. It needs a running service.
	PathTest = "POST /api/notify/test"
	// PathDelivery tells how far an alert has come.
	PathDelivery = "GET /api/notify/{id}"
)

// Delivery answers PathTest and PathDelivery.
type Delivery struct {
	Alert rise.Alert `json:"alert"`
	// Routes says how far it has come on each route, by name.
	Routes []RouteDelivery `json:"routes"`
	// Acked tells that a person has acknowledged it.
	Acked bool `json:"acked"`
}

// RouteDelivery is how far an alert has come on one route.
type RouteDelivery struct {
	Route    string             `json:"route"`
	State    rise.DeliveryState `json:"state"`
	Attempts int                `json:"attempts"`
	Why      string             `json:"why,omitempty"`
}
