// Package notifytest helps to test what sends alerts: an outbox in memory, and the suite that every outbox must pass.
package notifytest

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"nightjar/rise"
)

// Outbox is an outbox in memory. Its zero value has the one route "mqtt".
type Outbox struct {
	// Routes are the routes that an alert is queued for.
	Routes []string
	// Fail, if set, is asked before each Settle and may return the error that it ends in.
	Fail func(id string) error

	mu      sync.Mutex
	alerts  []rise.Alert
	states  map[string]rise.Delivery // by route and id
	settled chan struct{}            // closed and replaced at each Settle
}

func key(route, id string) string { return route + " " + id }

// Issue stores an alert and queues it for every route.
func (o *Outbox) Issue(a rise.Alert) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.init()
	o.alerts = append(o.alerts, a)
	for _, r := range o.Routes {
		o.states[key(r, a.ID)] = rise.Delivery{Alert: a, Route: r, State: rise.DeliveryPending}
	}
	return nil
}

func (o *Outbox) init() {
	if o.states == nil {
		o.states = map[string]rise.Delivery{}
		o.settled = make(chan struct{})
	}
	if len(o.Routes) == 0 {
		o.Routes = []string{"mqtt"}
	}
}

// Pending is that of notify.Outbox.
func (o *Outbox) Pending(route string, n int) ([]rise.Delivery, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	var ds []rise.Delivery
	for _, a := range o.alerts {
		if d, ok := o.states[key(route, a.ID)]; ok && d.State == rise.DeliveryPending && len(ds) < n {
			ds = append(ds, d)
		}
	}
	return ds, nil
}

// Settle is that of notify.Outbox.
func (o *Outbox) Settle(route, id string, state rise.DeliveryState, attempts int, why string) error {
	if o.Fail != nil {
		if err := o.Fail(id); err != nil {
			return err
		}
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.init()
	d, ok := o.states[key(route, id)]
	if !ok {
		return fmt.Errorf("no alert %s on route %s", id, route)
	}
	d.State, d.Attempts, d.Why = state, attempts, why
	o.states[key(route, id)] = d
	close(o.settled)
	o.settled = make(chan struct{})
	return nil
}

// Settled reports whether n alerts were issued and no delivery of them is pending.
func (o *Outbox) Settled(n int) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, d := range o.states {
		if d.State == rise.DeliveryPending {
			return false
		}
	}
	return len(o.alerts) == n
}

// Delivery is how far an alert has come on a route.
func (o *Outbox) Delivery(route, id string) rise.Delivery {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.states[key(route, id)]
}

// Wait waits until no delivery of the route is pending, and reports whether that came true in time.
func (o *Outbox) Wait(route string, limit time.Duration) bool {
	deadline := time.NewTimer(limit)
	defer deadline.Stop()
	for {
		o.mu.Lock()
		o.init()
		settled := o.settled
		o.mu.Unlock()
		if ds, _ := o.Pending(route, 1); len(ds) == 0 {
			return true
		}
		select {
		case <-settled:
		case <-deadline.C:
			return false
		}
	}
}

// Alert makes the n-th alert of a station, with an id and a text of its own.
func Alert(station string, n int) rise.Alert {
	wall := time.Date(2026, 3, 14, 3, 0, 0, 0, time.UTC).Add(time.Duration(n) * time.Second)
	return rise.Alert{
		ID: fmt.Sprintf("attic-5f0c11de-%d", n), Kind: rise.AlertReady, Level: rise.LevelWakes, Station: station, Run: n + 1, Episode: 1,
		Issued: rise.Moment{Stamp: rise.Stamp{Boot: 1, At: time.Duration(n) * time.Second}, Wall: wall},
		// Estimated, so that no alert grows old while a test runs on another clock.
		Quality: rise.TimeEstimated, Text: fmt.Sprintf("Dough %d has reached its target.", n), N: 1,
	}
}

// IDs lists the ids of deliveries.
func IDs(ds []rise.Delivery) []string {
	ids := []string{}
	for _, d := range ds {
		ids = append(ids, d.Alert.ID)
	}
	return slices.Clip(ids)
}
