package notify_test

import (
	"context"
	"fmt"

	"nightjar/notify"
	"nightjar/notify/notifytest"
	"nightjar/rise"
)

// printer is a Sender whose peer is the terminal.
type printer struct{ done func() }

func (p printer) Send(_ context.Context, a rise.Alert) error {
	fmt.Println(a.Station+":", a.Text)
	p.done()
	return nil
}

func ExampleRoute() {
	var outbox notifytest.Outbox
	_ = outbox.Issue(rise.Alert{ID: "attic-5f0c11de-1", Kind: rise.AlertReady, Station: "main", Text: "Rye has doubled.", N: 1})

	ctx, cancel := context.WithCancel(context.Background())
	r := notify.NewRoute(notify.RouteOptions{Name: "mqtt", Outbox: &outbox, Sender: printer{done: cancel}})
	_ = r.Run(ctx)
	fmt.Println(outbox.Delivery("mqtt", "attic-5f0c11de-1").State)
	// Output:
	// main: Rye has doubled.
	// delivered
}
