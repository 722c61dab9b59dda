package daemon

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"slices"
	"strings"

	"nightjar/cmd/internal/config"
	"nightjar/notify"
	"nightjar/notify/broker"
	"nightjar/notify/buzzer"
	"nightjar/notify/discovery"
	"nightjar/notify/push"
	"nightjar/rise"
	"nightjar/sensor/gpioline"
)

// openPush makes the route of a push target.
func (o *out) openPush(c config.Push) error {
	secrets := map[string]string{}
	if c.TokenFile != "" {
		token, err := config.ReadSecret(c.TokenFile)
		if err != nil {
			return fmt.Errorf("push %s token_file: %w", c.Name, err)
		}
		secrets["Authorization"] = "Bearer " + token
	}
	tls, err := notify.TLS(c.CAFile, "", "")
	if err != nil {
		return fmt.Errorf("push %s %w", c.Name, err)
	}
	target, err := push.New(push.Options{
		Name: c.Name, URL: c.URL, Preset: c.Format, Body: c.Body, Headers: c.Headers, Topic: c.Topic, Secrets: secrets, TLS: tls,
		Now: o.d.o.Clock.Wall,
	})
	if err != nil {
		return err
	}
	o.add(c.Name, target, c.URL, c.Format, c.Topic)
	return nil
}

// openBuzzer makes the route of the buzzer on a GPIO line; no line is no buzzer.
func (o *out) openBuzzer(line string) error {
	if line == "" {
		return nil
	}
	pin, err := gpioline.Open(line)
	if err != nil {
		return fmt.Errorf("alerts buzzer: %w", err)
	}
	if o.buzzer, err = buzzer.New(buzzer.Options{Name: buzzerRoute, Pin: pin}); err != nil {
		return err
	}
	o.add(buzzerRoute, o.buzzer, line)
	return nil
}

// add makes a route to a sender.
func (o *out) add(name string, s notify.Sender, configured ...string) {
	o.routes[name] = notify.NewRoute(notify.RouteOptions{
		Name: name, Outbox: o.d.db, Sender: s, Now: o.d.o.Clock.Wall, Logger: o.d.log, Settled: o.d.o.Settled,
	})
	o.prints[name] = fingerprint(configured...)
}

// fingerprint is the same for the same configuration. It gives nothing of it away.
func fingerprint(configured ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(configured, "\x00")))
	return hex.EncodeToString(sum[:8])
}

// signIn is how to sign in at the broker: as configured, or with the embedded broker's own credential.
func (o *out) signIn(c config.MQTT) (user, password string, err error) {
	if o.broker != nil {
		user, password = o.broker.Credential()
		return user, password, nil
	}
	if c.PasswordFile != "" {
		if password, err = config.ReadSecret(c.PasswordFile); err != nil {
			return "", "", fmt.Errorf("mqtt password_file: %w", err)
		}
	}
	return c.User, password, nil
}

// readUsers reads the users of the embedded broker; no file is nobody.
func readUsers(path string) (broker.Users, error) {
	if path == "" {
		return nil, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("mqtt users_file: %w", err)
	}
	defer f.Close()
	users, err := broker.ReadUsers(f)
	if err != nil {
		return nil, fmt.Errorf("mqtt users_file %s: %w", path, err)
	}
	return users, nil
}

// homeStatus is the topic on which a home automation says that it has started; empty if nothing is announced to one.
func (o *out) homeStatus() string {
	if p := o.d.o.Config.MQTT.Discovery; p != "" {
		return discovery.StatusTopic(p)
	}
	return ""
}

// announce has the home automation know the configured stations, and forget those that are there no more.
func (o *out) announce() {
	prefix := o.d.o.Config.MQTT.Discovery
	if prefix == "" {
		return
	}
	device := o.d.db.Device()
	var names []string
	for _, c := range o.d.o.Config.Stations {
		names = append(names, c.Name)
		payload, err := discovery.Config(discovery.Options{
			Device: device, Station: c.Name, Version: o.d.o.Version, Start: o.lastStart(c.Name),
			Dough: c.DoughProbe != config.ProbeNone && c.DoughProbe != "", Room: c.RoomProbe != config.ProbeNone && c.RoomProbe != "",
		})
		if err != nil {
			o.d.log.Error("announce a station", "station", c.Name, "err", err)
			continue
		}
		o.client.Retain(discovery.Topic(prefix, device, c.Name), payload)
	}
	known, err := o.d.db.Stations()
	if err != nil {
		o.d.log.Error("list the stations of the store", "err", err)
	}
	for _, name := range known {
		if !slices.Contains(names, name) {
			o.client.Retain(discovery.Topic(prefix, device, name), nil)
		}
	}
}

// lastStart is what a start button starts: a dough like the station's last one; nil if there was none.
func (o *out) lastStart(station string) *rise.Run {
	runs, err := o.d.db.Runs()
	if err != nil {
		o.d.log.Error("list the runs", "err", err)
	}
	for _, r := range slices.Backward(runs) {
		if r.Station == station && r.Kind == rise.RunDough {
			return &rise.Run{Kind: r.Kind, Jar: r.Jar, Target: r.Target, Recipe: r.Recipe, Starter: r.Starter,
				InoculationPct: r.InoculationPct, HydrationPct: r.HydrationPct, SaltPct: r.SaltPct}
		}
	}
	return nil
}
