package broker_test

import (
	"context"
	"fmt"

	"nightjar/notify/broker"
)

func Example() {
	_, err := broker.Listen(broker.Options{Addr: "0.0.0.0:1883"})
	fmt.Println(err)

	b, err := broker.Listen(broker.Options{Addr: "127.0.0.1:0"}) // a free port
	if err != nil {
		fmt.Println(err)
		return
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	fmt.Println(b.Run(ctx))
	// Output:
	// embedded broker: 0.0.0.0:1883 can be reached from other machines: set a users_file first, or listen on 127.0.0.1
	// <nil>
}
