package desk

import (
	"fmt"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Tester is a Live that can send a test on every route.
type Tester interface {
	Test() (rise.Alert, error)
}

// Test sends a test on every route.
func (d *Desk) Test() (api.Delivery, error) {
	live, ok := d.Live.(Tester)
	if !ok {
		return api.Delivery{}, &Error{Kind: Refused, Msg: "nothing can be sent while nightjar is not running", Remedy: "start it: sudo systemctl start nightjar"}
	}
	a, err := live.Test()
	if err != nil {
		return api.Delivery{}, d.told(err)
	}
	return d.Delivery(a.ID)
}

// Delivery is how far an alert has come on its routes.
func (d *Desk) Delivery(id string) (api.Delivery, error) {
	ds, err := d.Store.Deliveries(id)
	if err != nil {
		return api.Delivery{}, d.told(err)
	}
	if len(ds) == 0 {
		return api.Delivery{}, &Error{Kind: Missing, Msg: fmt.Sprintf("no alert %q was queued on any route", id),
			Remedy: "set up [mqtt] or a [[push]] in the configuration; nightjar check says what is missing"}
	}
	out := api.Delivery{Alert: ds[0].Alert, Routes: []api.RouteDelivery{}, Acked: !ds[0].Alert.Acked.IsZero()}
	for _, x := range ds {
		out.Routes = append(out.Routes, api.RouteDelivery{Route: x.Route, State: x.State, Attempts: x.Attempts, Why: x.Why})
	}
	return out, nil
}
