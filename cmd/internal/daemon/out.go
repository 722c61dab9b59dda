package daemon

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/machine"
	"nightjar/notify"
	"nightjar/notify/broker"
	"nightjar/notify/buzzer"
	"nightjar/notify/mqtt"
	"nightjar/rise"
)

// Routes besides the configured push targets.
const (
	mqttRoute   = "mqtt"
	buzzerRoute = "buzzer"
)

// out is the ways out of the door.
type out struct {
	d      *daemon
	broker *broker.Broker           // the embedded one, if there is one
	client *mqtt.Client             // nil if there is no broker to talk to
	why    error                    // why not
	buzzer *buzzer.Buzzer           // nil if there is none
	routes map[string]*notify.Route // besides MQTT, by name
	// prints is a fingerprint of each route's configuration: a test of a route proves nothing about another one.
	prints map[string]string
}

// open makes the embedded broker, where no other is configured, the client, the push targets and the buzzer. A port
// that is taken is told later, as a condition; a configuration that cannot be is an error.
func (o *out) open() error {
	o.prints, o.routes = map[string]string{}, map[string]*notify.Route{}
	err := o.openMQTT()
	for _, p := range o.d.o.Config.Pushes {
		err = errors.Join(err, o.openPush(p))
	}
	err = errors.Join(err, o.openBuzzer(o.d.o.Config.Alerts.Buzzer))
	if err != nil {
		return errors.Join(err, o.close())
	}
	return nil
}

func (o *out) openMQTT() error {
	c := o.d.o.Config.MQTT
	url, err := o.brokerURL(c)
	if err != nil || url == "" {
		return err
	}
	user, password, err := o.signIn(c)
	if err != nil {
		return err
	}
	tls, err := notify.TLS(c.CAFile, c.CertFile, c.KeyFile)
	if err != nil {
		return fmt.Errorf("mqtt %w", err)
	}
	o.client, err = mqtt.New(mqtt.Options{
		URL: url, Device: o.d.db.Device(), User: user, Password: password, TLS: tls, KeepAlive: c.KeepAlive,
		Outbox: o.d.db, Route: mqttRoute, Unproven: o.broker != nil, Command: o.d.command, Announce: o.homeStatus(),
		Settled: o.d.o.Settled, Now: o.d.o.Clock.Wall, Logger: o.d.log,
	})
	if err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	o.prints[mqttRoute] = fingerprint(c.Broker, c.Listen, c.User, c.UsersFile)
	return nil
}

// brokerURL is the configured broker's address, or that of the embedded one, which it starts to listen; empty if that
// one's port is taken.
func (o *out) brokerURL(c config.MQTT) (string, error) {
	if c.Broker != "" {
		return c.Broker, nil
	}
	users, err := readUsers(c.UsersFile)
	if err != nil {
		return "", err
	}
	device := o.d.db.Device()
	o.broker, err = broker.Listen(broker.Options{
		Addr: c.Listen, Users: users, Keep: filepath.Join(filepath.Dir(o.d.o.Store), "retained"), Own: "nightjar/" + device + "/",
		Acknowledged: func(topic string, payload []byte) { o.client.Acknowledged(topic, payload) },
		Subscribed:   func(client, filter string) { o.client.Subscribed(client, filter) }, Logger: o.d.log,
	})
	if err != nil {
		o.broker, o.why = nil, err
		return "", nil
	}
	return "mqtt://" + o.broker.Addr(), nil
}

// addr is where the embedded broker listens, empty if there is none.
func (o *out) addr() string {
	if o.broker == nil {
		return ""
	}
	return o.broker.Addr()
}

// close gives back what open took, before run.
func (o *out) close() error {
	if o.broker == nil {
		return nil
	}
	return o.broker.Close()
}

// report tells why nothing can be sent over MQTT, if so.
func (o *out) report() {
	if o.why != nil && o.d.watch.Raise("broker", "Alerts cannot be sent over MQTT: "+o.why.Error()+".") {
		o.d.log.Error("no alerts can be sent over MQTT", "err", o.why)
	}
}

// run sends until ctx ends; the broker ends after the client, which says "offline" through it.
func (o *out) run(ctx context.Context) error {
	brokerCtx, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	outer, brokerCtx := errgroup.WithContext(brokerCtx)
	if o.broker != nil {
		outer.Go(func() error {
			if err := o.broker.Run(brokerCtx); err != nil {
				o.why = err
				o.report()
			}
			return nil
		})
	}
	inner, ctx := errgroup.WithContext(ctx)
	for _, r := range o.routes {
		inner.Go(func() error { return r.Run(ctx) })
	}
	inner.Go(func() error { o.tell(ctx); return nil })
	if o.client != nil {
		o.announce()
		inner.Go(func() error { return o.client.Run(ctx) })
	}
	err := inner.Wait()
	stop()
	return errors.Join(err, outer.Wait())
}

// The troubles of the routes are looked at every lookEvery, and told once they have lasted for patience: a router that
// starts anew is none.
const (
	lookEvery = 5 * time.Second
	patience  = 30 * time.Second
)

// tell keeps a health condition for each route that does not get rid of its alerts. It goes by real time, as all that
// crosses a network.
func (o *out) tell(ctx context.Context) {
	var clock machine.Clock
	since := map[string]time.Time{}
	for clock.Sleep(ctx, lookEvery) == nil {
		for name, trouble := range o.troubles() {
			switch began, known := since[name]; {
			case trouble == "":
				delete(since, name)
				o.d.watch.Clear(name)
			case !known:
				since[name] = time.Now()
			case time.Since(began) >= patience:
				o.d.watch.Raise(name, trouble)
			}
		}
	}
}

// troubles is what is wrong with each route, by the name of its condition; empty if nothing is.
func (o *out) troubles() map[string]string {
	t := map[string]string{}
	if o.client != nil {
		t["broker"] = ""
		if s := o.client.Status(); !s.Connected {
			t["broker"] = "The broker does not take alerts: " + s.Trouble + ". " + s.Hint
		}
	}
	for name, r := range o.routes {
		t[name] = r.Stats().Trouble
	}
	return t
}

// State implements watch.Publisher.
func (o *out) State(station string, payload []byte) {
	if o.client != nil {
		o.client.State(station, payload)
	}
}

// Alert implements watch.Publisher.
func (o *out) Alert(a rise.Alert) {
	if o.d.o.Queued != nil {
		o.d.o.Queued(a)
	}
	o.kick()
}

// Answered implements watch.Publisher.
func (o *out) Answered(nothingActive bool) {
	if nothingActive && o.buzzer != nil {
		o.buzzer.Silence()
	}
	o.kick() // what was answered need not be sent
}

func (o *out) kick() {
	if o.client != nil {
		o.client.Kick()
	}
	for _, r := range o.routes {
		r.Kick()
	}
}
