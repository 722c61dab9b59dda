package daemon

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"

	"golang.org/x/sync/errgroup"

	"nightjar/cmd/internal/config"
	"nightjar/notify/broker"
	"nightjar/notify/mqtt"
)

// mqttRoute is the name of the MQTT route in the outbox.
const mqttRoute = "mqtt"

// out is the way out of the door.
type out struct {
	d      *daemon
	broker *broker.Broker // the embedded one, if there is one
	client *mqtt.Client   // nil if nothing can be sent
	why    error          // why not
}

// open makes the embedded broker, where no other is configured, and the client. A port that is taken is told later, as
// a condition; a configuration that cannot be is an error.
func (o *out) open() error {
	c := o.d.o.Config.MQTT
	url := c.Broker
	if url == "" {
		b, err := broker.Listen(broker.Options{
			Addr: c.Listen, Acknowledged: func(topic string, payload []byte) { o.client.Acknowledged(topic, payload) },
			Subscribed: func(client, filter string) { o.client.Subscribed(client, filter) }, Logger: o.d.log,
		})
		if err != nil {
			o.why = err
			return nil
		}
		o.broker, url = b, "mqtt://"+b.Addr()
	}
	secrets, err := signIn(c)
	if err != nil {
		return errors.Join(err, o.close())
	}
	o.client, err = mqtt.New(mqtt.Options{
		URL: url, Device: o.d.db.Device(), User: c.User, Password: secrets.password, TLS: secrets.tls, KeepAlive: c.KeepAlive,
		Outbox: o.d.db, Route: mqttRoute, Unproven: o.broker != nil, Command: o.d.command, Settled: o.d.o.Settled,
		Now: o.d.o.Clock.Wall, Logger: o.d.log,
	})
	if err != nil {
		return errors.Join(fmt.Errorf("mqtt: %w", err), o.close())
	}
	return nil
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

// report tells why nothing can be sent, if so.
func (o *out) report() {
	if o.why != nil && o.d.watch.Raise("broker", "Alerts cannot be sent: "+o.why.Error()+".") {
		o.d.log.Error("no alerts can be sent", "err", o.why)
	}
}

// run sends until ctx ends; the broker ends after the client, which says "offline" through it.
func (o *out) run(ctx context.Context) error {
	if o.client == nil {
		return nil
	}
	brokerCtx, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	group, brokerCtx := errgroup.WithContext(brokerCtx)
	if o.broker != nil {
		group.Go(func() error {
			if err := o.broker.Run(brokerCtx); err != nil {
				o.why = err
				o.report()
			}
			return nil
		})
	}
	err := o.client.Run(ctx)
	stop()
	return errors.Join(err, group.Wait())
}

// State implements watch.Publisher.
func (o *out) State(station string, payload []byte) {
	if o.client != nil {
		o.client.State(station, payload)
	}
}

// Kick implements watch.Publisher.
func (o *out) Kick() {
	if o.client == nil {
		return
	}
	if o.d.o.Queued != nil {
		o.d.o.Queued()
	}
	o.client.Kick()
}

// credentials are how to sign in at a broker.
type credentials struct {
	password string
	tls      *tls.Config // nil is the system's certificate authorities
}

// signIn reads the files that the configuration names.
func signIn(c config.MQTT) (credentials, error) {
	var s credentials
	if c.PasswordFile != "" {
		var err error
		if s.password, err = config.ReadSecret(c.PasswordFile); err != nil {
			return s, fmt.Errorf("mqtt password_file: %w", err)
		}
	}
	if c.CAFile != "" {
		pem, err := os.ReadFile(c.CAFile)
		if err != nil {
			return s, fmt.Errorf("mqtt ca_file: %w", err)
		}
		pool := x509.NewCertPool()
		if !pool.AppendCertsFromPEM(pem) {
			return s, fmt.Errorf("mqtt ca_file: %s holds no certificate in PEM form", c.CAFile)
		}
		s.tls = &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}
	}
	return s, nil
}
