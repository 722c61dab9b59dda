package mqtt

import (
	"bytes"
	"context"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"nightjar/notify"
	"nightjar/rise"

	"golang.org/x/sync/errgroup"
)

// Client is one device's link to one broker. Its methods may be called from any goroutine and, Run apart, never block.
type Client struct {
	o     Options
	b     broker
	log   *slog.Logger
	waits waits
	route *notify.Route // nil without an outbox
	wake  chan struct{} // a retained message is to be published

	commands chan command
	intake   intake

	accepted, taken, refused atomic.Uint64 // for Stats

	mu       sync.Mutex
	link     *link // nil while there is none
	retained map[string]*retained
	status   Status
	short    int    // connections in a row that the broker ended soon after it had accepted them
	told     string // the last trouble logged; used by connections only
}

// retained is the newest value of a topic; only that one waits.
type retained struct {
	payload []byte
	// version counts the values, sent is the version that the broker acknowledged on this connection.
	version, sent uint64
}

// Status is how the link to the broker stands.
type Status struct {
	Connected bool
	// Since is when that began, by the wall clock.
	Since time.Time
	// Trouble is why there is no link, in words for a person, Hint what to do about it.
	Trouble, Hint string
}

// waits are the client's time-outs; tests shorten them.
type waits struct {
	connect, write, ack, ping, farewell  time.Duration
	firstRetry, lastRetry, refusedRetry  time.Duration
	shortLife, refusals, commandInterval time.Duration
	commandBurst                         int
}

var usual = waits{
	connect: 10 * time.Second,
	// write bounds how long the library blocks on a link whose other end has stopped reading.
	write: 1500 * time.Millisecond,
	ack:   10 * time.Second, ping: 10 * time.Second,
	// farewell is how long a stop waits for "offline" to be acknowledged.
	farewell:   time.Second,
	firstRetry: 250 * time.Millisecond, lastRetry: 4 * time.Second, refusedRetry: time.Minute,
	shortLife: 10 * time.Second,
	// refusals is how often refused commands are answered at most.
	refusals: time.Second, commandInterval: 200 * time.Millisecond, commandBurst: 20,
}

// New checks the options. It does not connect and starts nothing.
func New(o Options) (*Client, error) {
	b, err := o.check()
	if err != nil {
		return nil, err
	}
	c := &Client{
		o: o, b: b, log: o.Logger.With("broker", b.shown), waits: usual, wake: make(chan struct{}, 1),
		commands: make(chan command, commandQueue), retained: map[string]*retained{},
		status: Status{Since: time.Now(), Trouble: "not connected yet"},
	}
	c.intake = intake{client: c, at: time.Now(), level: float64(c.waits.commandBurst), refused: map[string]refusal{}, answer: make(chan struct{}, 1)}
	c.retained[c.topic("availability")] = &retained{payload: []byte("online"), version: 1}
	if o.Outbox != nil {
		c.route = notify.NewRoute(notify.RouteOptions{
			Name: o.Route, Outbox: o.Outbox, Sender: sender{c}, Now: o.Now, Logger: o.Logger, Settled: o.Settled,
		})
	}
	return c, nil
}

// Run keeps the link up, delivers alerts and takes commands until ctx ends; then it says "offline", waits at most a
// second for that to be acknowledged, and returns nil. A broker that is away or refuses is no failure: see Status.
func (c *Client) Run(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { c.connections(ctx); return nil })
	g.Go(func() error { c.work(ctx); return nil })
	if c.route != nil {
		g.Go(func() error { return c.route.Run(ctx) })
	}
	return g.Wait()
}

// State publishes a station's state, retained. Only the newest one waits while the broker is away. The payload must
// not be changed afterwards.
func (c *Client) State(station string, payload []byte) { c.Retain(c.topic(station, "state"), payload) }

// Retain publishes a retained message on any topic, again after each reconnect. Only the newest one of a topic waits.
// An empty payload has the broker forget the topic.
func (c *Client) Retain(topic string, payload []byte) {
	c.mu.Lock()
	r := c.retained[topic]
	if r == nil {
		r = &retained{}
		c.retained[topic] = r
	}
	if r.version == 0 || !bytes.Equal(r.payload, payload) {
		r.payload = payload
		r.version++
	}
	c.mu.Unlock()
	c.poke()
}

// Kick tells that a new alert was stored.
func (c *Client) Kick() {
	if c.route != nil {
		c.route.Kick()
	}
}

// Confirm tells that a receiver or a person has acknowledged the alert. An unknown id is ignored.
func (c *Client) Confirm(id string) {
	if c.route != nil {
		c.route.Confirm(id)
	}
}

// Again has the alerts sent once more that nobody has confirmed: a new receiver is there.
func (c *Client) Again() {
	if c.route != nil {
		c.route.Again()
	}
}

// Status is how the link stands now.
func (c *Client) Status() Status {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.status
}

// Stats are what the client has done since it was made.
type Stats struct {
	// Connections counts those that the broker accepted.
	Connections uint64
	// Taken and Refused count commands.
	Taken, Refused uint64
	// Alerts are those of its route.
	Alerts notify.Stats
}

// Stats is how the client fares.
func (c *Client) Stats() Stats {
	s := Stats{Connections: c.accepted.Load(), Taken: c.taken.Load(), Refused: c.refused.Load()}
	if c.route != nil {
		s.Alerts = c.route.Stats()
	}
	return s
}

// topic is one of the device's own topics.
func (c *Client) topic(levels ...string) string {
	t := "nightjar/" + c.o.Device
	for _, l := range levels {
		t += "/" + l
	}
	return t
}

// id is the client id: the same for ever, so that the broker keeps what arrives while the device is away.
func (c *Client) id() string { return "nightjar-" + c.o.Device }

// AlertTopic is where the alerts of a station are published.
func (c *Client) AlertTopic(station string) string { return c.topic(station, "alert") }

func (c *Client) poke() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// next returns a retained message that the broker does not have yet: availability first, then by topic.
func (c *Client) next() (topic string, r retained, ok bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	var due []string
	for t, r := range c.retained {
		if r.sent != r.version {
			due = append(due, t)
		}
	}
	if len(due) == 0 {
		return "", retained{}, false
	}
	topic = slices.Min(due)
	if a := c.topic("availability"); slices.Contains(due, a) {
		topic = a
	}
	return topic, *c.retained[topic], true
}

// sent notes what the broker has acknowledged. A topic that was emptied is forgotten.
func (c *Client) sent(topic string, version uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	r := c.retained[topic]
	r.sent = version
	if r.sent == r.version && len(r.payload) == 0 {
		delete(c.retained, topic)
	}
}

// unsent has the retained messages of the topics, or all of them, published again.
func (c *Client) unsent(topics ...string) {
	c.mu.Lock()
	for t, r := range c.retained {
		if len(topics) == 0 || slices.Contains(topics, t) {
			r.version++ // not sent = 0: a publish of the old value may be under way
		}
	}
	c.mu.Unlock()
	c.poke()
}

func (c *Client) current() *link {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.link
}

// sender hands alerts to the broker.
type sender struct{ c *Client }

// Send publishes the alert and waits for the broker's PUBACK.
func (s sender) Send(ctx context.Context, a rise.Alert) error {
	l := s.c.current()
	if l == nil || l.reason() != nil {
		return notify.ErrAway
	}
	if err := l.publish(ctx, s.c.AlertTopic(a.Station), false, notify.NewMessage(a).JSON()); err != nil {
		return err
	}
	if s.c.o.Unproven {
		return notify.ErrUnproven
	}
	return nil
}
