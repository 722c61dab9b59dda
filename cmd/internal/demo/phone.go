package demo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nightjar/notify"
	"nightjar/rise"
)

// phoneLimit bounds how long the phone may take to connect.
const phoneLimit = 10 * time.Second

// phone subscribes as a phone would and tells each alert that arrives, until hangUp is called.
func (n *night) phone(ctx context.Context) (hangUp func(), err error) {
	if n.up.Broker == "" {
		return nil, errors.New("the embedded broker did not start")
	}
	seen := map[string]bool{}
	received := func(_ paho.Client, m paho.Message) {
		var a notify.Message
		if err := json.Unmarshal(m.Payload(), &a); err != nil {
			n.say.line("the phone got something that is no alert: %v", err)
			return
		}
		if seen[a.ID] {
			return // sent again, and recognised as the same
		}
		seen[a.ID] = true
		n.say.received(n, m.Topic(), a)
		if a.Kind == rise.AlertReady {
			n.ring.Do(func() { close(n.rang) })
		}
	}
	c := paho.NewClient(paho.NewClientOptions().
		AddBroker("tcp://" + n.up.Broker).SetClientID("phone").SetProtocolVersion(4).SetOrderMatters(true).
		SetConnectTimeout(phoneLimit).SetAutoReconnect(false))
	if err := wait(ctx, c.Connect()); err != nil {
		return nil, fmt.Errorf("the phone cannot reach the broker at %s: %w", n.up.Broker, err)
	}
	hangUp = func() { c.Disconnect(100) }
	if err := wait(ctx, c.Subscribe("nightjar/demo/+/alert", 1, received)); err != nil {
		hangUp()
		return nil, fmt.Errorf("the phone cannot subscribe: %w", err)
	}
	return hangUp, nil
}

// wait waits for a token of the library.
func wait(ctx context.Context, t paho.Token) error {
	select {
	case <-t.Done():
		return t.Error()
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(phoneLimit):
		return errors.New("no answer")
	}
}
