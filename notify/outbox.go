package notify

import "nightjar/rise"

// Outbox is where alerts wait until each of their routes has delivered them. The store satisfies it. Its methods are
// safe for concurrent use and durable when they return.
type Outbox interface {
	// Pending returns at most n pending deliveries of a route, oldest alert first.
	Pending(route string, n int) ([]rise.Delivery, error)
	// Settle moves a delivery out of the pending state. Settling it again with the same state changes nothing.
	Settle(route, alertID string, state rise.DeliveryState, attempts int, why string) error
}
