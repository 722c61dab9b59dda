package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"regexp"
	"time"

	"nightjar/notify"
	"nightjar/rise"
)

// Options are what a Client is made of.
type Options struct {
	// URL is the broker's: mqtt://host[:1883] or mqtts://host[:8883].
	URL string
	// Device is the device's name, the second level of every topic.
	Device string
	// User and Password may be empty.
	User, Password string
	// TLS is used for mqtts; nil is the system's certificate authorities.
	TLS *tls.Config
	// KeepAlive is how long the link may be silent before it is probed; 0 is 30 s. Less than 10 s and more than 10 min
	// are refused: brokers declare a client dead after 1.5 times that.
	KeepAlive time.Duration
	// Outbox and Route are where alerts wait; a nil Outbox sends none, an empty Route is "mqtt".
	Outbox notify.Outbox
	Route  string
	// Unproven tells that the broker's PUBACK is no proof that anybody got an alert, as with the embedded broker:
	// an alert is then delivered when Confirm is called, and sent again when Again is.
	Unproven bool
	// Command answers a command; nil refuses all. It is called from one goroutine, in the order of arrival.
	Command func(ctx context.Context, station string, payload []byte) (reply []byte)
	// Announce is a topic whose message "online" has every retained message published again, as a home automation
	// sends after a restart; empty is none.
	Announce string
	// Settled, if set, is told of each alert that was delivered or given up, and after how many tries.
	Settled func(d rise.Delivery, attempts int)
	// Now is the wall clock that the age of alerts is judged by; nil is time.Now.
	Now func() time.Time
	// Logger may be nil.
	Logger *slog.Logger
}

var safeName = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// CheckName refuses a name that cannot be a level of a topic everywhere. what says whose name it is: "device", "station".
func CheckName(what, name string) error {
	if !safeName.MatchString(name) {
		return fmt.Errorf("%s name %q: use 1 to 64 of the letters A to Z, a to z, digits, _ and -; it becomes part of a topic", what, name)
	}
	return nil
}

// broker is where to connect to.
type broker struct {
	addr   string // host:port
	secure bool
	shown  string // for people: without user and password
}

func parseURL(s string) (broker, error) {
	u, err := url.Parse(s)
	if err != nil {
		return broker{}, fmt.Errorf("broker address %q cannot be read: write it as mqtt://host or mqtts://host", s)
	}
	var b broker
	port := "1883"
	switch u.Scheme {
	case "mqtt", "tcp":
	case "mqtts", "ssl", "tls":
		b.secure, port = true, "8883"
	default:
		return broker{}, fmt.Errorf("broker address %q: the scheme %q is not known, write it as mqtt://host or mqtts://host", s, u.Scheme)
	}
	switch {
	case u.Hostname() == "":
		return broker{}, fmt.Errorf("broker address %q names no host", s)
	case u.User != nil:
		return broker{}, errors.New("broker address: user and password do not belong into the address")
	case u.Path != "" && u.Path != "/", u.RawQuery != "", u.Fragment != "":
		return broker{}, fmt.Errorf("broker address %q: only scheme, host and port are used", s)
	}
	if u.Port() != "" {
		port = u.Port()
	}
	b.addr = net.JoinHostPort(u.Hostname(), port)
	b.shown = u.Scheme + "://" + b.addr
	return b, nil
}

func (o *Options) check() (broker, error) {
	b, err := parseURL(o.URL)
	if err != nil {
		return b, err
	}
	if err := CheckName("device", o.Device); err != nil {
		return b, err
	}
	if o.Password != "" && o.User == "" {
		return b, errors.New("a password for the broker without a user: MQTT 3.1.1 has no such thing")
	}
	if o.KeepAlive == 0 {
		o.KeepAlive = 30 * time.Second
	}
	if o.KeepAlive < 10*time.Second || o.KeepAlive > 10*time.Minute {
		return b, fmt.Errorf("keepalive %v: use 10s to 10m", o.KeepAlive)
	}
	if o.Route == "" {
		o.Route = "mqtt"
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	return b, nil
}
