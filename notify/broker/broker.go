package broker

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"syscall"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
)

// DefaultAddr is where the broker listens unless told otherwise.
const DefaultAddr = "127.0.0.1:1883"

// Options are what a Broker is made of.
type Options struct {
	// Addr is host:port; empty is DefaultAddr, port 0 a free port. Beyond the loopback interface users are needed.
	Addr string
	// Users are those who may connect; nil lets everybody in, who on the loopback interface is everybody on this machine.
	Users Users
	// Access is what users may read and write; nil is DefaultAccess. It counts only where there are users.
	Access *Access
	// Keep is a file in which the retained messages of others survive a restart; empty is none. The daemon's own are
	// published again by itself and are not kept: those below Own, a topic prefix such as "nightjar/attic/".
	Keep, Own string
	// Acknowledged, if set, is told of each message that a subscriber has acknowledged, at QoS 1 or 2. It must not block.
	Acknowledged func(topic string, payload []byte)
	// Subscribed, if set, is told of each subscription granted at QoS 1 or 2, also of those that a returning client had.
	// It must not block.
	Subscribed func(client, filter string)
	// Logger may be nil.
	Logger *slog.Logger
}

// Broker is a running or stopped broker.
type Broker struct {
	own    credential
	server *mochi.Server
	door   *door
	kept   *kept // nil if nothing is kept
	listen net.Listener
	log    *slog.Logger
}

// Listen opens the broker's port. Clients are served once Run is called.
func Listen(o Options) (*Broker, error) {
	if o.Addr == "" {
		o.Addr = DefaultAddr
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Access == nil {
		o.Access = DefaultAccess()
	}
	if err := checkAddr(o); err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", o.Addr)
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("embedded broker: the port of %s is taken, probably by another broker: name that one as broker under [mqtt], or set another port as listen: %w", o.Addr, err)
	}
	if err != nil {
		return nil, fmt.Errorf("embedded broker: %w", err)
	}
	s := mochi.New(&mochi.Options{
		Capabilities: limits(), InlineClient: false,
		// Each tick stops the world to measure the heap.
		SysTopicResendInterval: 300,
		Logger:                 slog.New(quiet{o.Logger.Handler()}),
	})
	b := &Broker{own: newCredential(), server: s, listen: l, log: o.Logger}
	b.door = newDoor(o, s, b.own)
	if o.Keep != "" {
		b.kept = newKept(o)
		if err := s.AddHook(b.kept, nil); err != nil {
			l.Close()
			return nil, fmt.Errorf("embedded broker: %w", err)
		}
	}
	if err := errors.Join(s.AddHook(b.door, nil), s.AddListener(listeners.NewNet("tcp", l))); err != nil {
		l.Close()
		return nil, fmt.Errorf("embedded broker: %w", err)
	}
	return b, nil
}

// checkAddr refuses to be reachable from elsewhere without users.
func checkAddr(o Options) error {
	host, _, err := net.SplitHostPort(o.Addr)
	if err != nil {
		return fmt.Errorf("embedded broker: address %q is not host:port", o.Addr)
	}
	ip := net.ParseIP(host)
	if local := host == "localhost" || ip != nil && ip.IsLoopback(); !local && len(o.Users) == 0 {
		return fmt.Errorf("embedded broker: %s can be reached from other machines: set a users_file first, or listen on 127.0.0.1", o.Addr)
	}
	return nil
}

// limits bounds what clients can take.
func limits() *mochi.Capabilities {
	c := mochi.NewDefaultServerCapabilities()
	c.MaximumMessageExpiryInterval = 0 // none: it would be counted on a clock that is set late
	c.MaximumClients = 16
	c.MaximumPacketSize = 64 << 10
	c.MaximumClientWritesPending = 256
	c.MaximumInflight = 256
	c.ReceiveMaximum = 64
	return c
}

// Addr is where the broker listens.
func (b *Broker) Addr() string { return b.listen.Addr().String() }

// Run serves clients until ctx ends, and then disconnects them.
func (b *Broker) Run(ctx context.Context) error {
	if err := b.server.Serve(); err != nil {
		b.listen.Close()
		return fmt.Errorf("embedded broker: %w", err)
	}
	b.log.Info("embedded broker listens", "addr", b.Addr())
	if b.kept != nil {
		b.kept.run(ctx)
	}
	<-ctx.Done()
	err := b.server.Close()
	if b.kept != nil {
		b.kept.save()
	}
	return err
}

// Credential is the user and the password with which the daemon itself signs in where there are users. They hold until
// the broker ends, and may write everything.
func (b *Broker) Credential() (user, password string) { return b.own.user, b.own.password }

// Stats are what the broker holds now, and what it has had to drop.
type Stats struct {
	Clients, Retained, InFlight int64
	// Dropped counts messages that a subscriber did not get because it was too slow.
	Dropped int64
}

// Stats is how the broker fares.
func (b *Broker) Stats() Stats {
	i := b.server.Info.Clone()
	return Stats{Clients: i.ClientsConnected, Retained: i.Retained, InFlight: i.Inflight, Dropped: i.MessagesDropped + i.InflightDropped}
}

// Close frees the port of a broker that was never run.
func (b *Broker) Close() error { return b.listen.Close() }

// quiet drops the library's chatter about its own start and about each packet; warnings and errors pass.
type quiet struct{ slog.Handler }

// Enabled reports whether a record of the level passes.
func (q quiet) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && q.Handler.Enabled(ctx, level)
}

// WithAttrs is that of slog.Handler.
func (q quiet) WithAttrs(attrs []slog.Attr) slog.Handler { return quiet{q.Handler.WithAttrs(attrs)} }

// WithGroup is that of slog.Handler.
func (q quiet) WithGroup(name string) slog.Handler { return quiet{q.Handler.WithGroup(name)} }
