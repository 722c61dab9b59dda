package notify

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"nightjar/rise"
)

// The waits of a route.
const (
	firstRetry = 500 * time.Millisecond
	lastRetry  = time.Minute
	// longestWait bounds what a peer may ask for.
	longestWait = time.Hour
	// poll is how often the outbox is looked at without being kicked.
	poll = time.Minute
	// sendLimit bounds one Send.
	sendLimit = 30 * time.Second
	// refusals is how often an alert may be refused before it is given up.
	refusals  = 5
	batch     = 32
	mostAcked = 1024
)

// RouteOptions are what a Route is made of.
type RouteOptions struct {
	// Name is the route's name in the outbox: "mqtt", or that of a push target.
	Name   string
	Outbox Outbox
	Sender Sender
	// Now is the wall clock that ages are judged by; nil is time.Now.
	Now func() time.Time
	// Logger may be nil.
	Logger *slog.Logger
	// Settled, if set, is told of each delivery that left the pending state and after how many tries.
	Settled func(d rise.Delivery, attempts int)
}

// Route delivers the alerts of one route, oldest first, until each is delivered or no longer worth sending. One is
// sent after the other, so order is kept.
type Route struct {
	o    RouteOptions
	log  *slog.Logger
	wake chan struct{}

	mu        sync.Mutex
	kicked    bool     // a reason to try at once
	again     bool     // the unproven are to be sent again
	confirmed []string // ids
	stats     Stats

	// Used by Run only.
	tries    map[string]int  // tries of pending alerts
	unproven map[string]bool // handed over, unconfirmed
	acked    map[string]bool // confirmed, not settled yet
	backoff  time.Duration
	// notBefore is when the peer asked to be tried again at the earliest; a kick does not shorten that.
	notBefore time.Time
}

// NewRoute makes a route. It does nothing before Run.
func NewRoute(o RouteOptions) *Route {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	return &Route{
		o: o, log: o.Logger.With("route", o.Name), wake: make(chan struct{}, 1),
		tries: map[string]int{}, unproven: map[string]bool{}, acked: map[string]bool{},
	}
}

// Kick tells that a new alert was stored or that the peer may be back: the outbox is looked at at once. It never blocks.
func (r *Route) Kick() { r.signal(func() { r.kicked = true }) }

// Again has the alerts sent once more that were handed over but never confirmed: a new receiver is there.
func (r *Route) Again() { r.signal(func() { r.again, r.kicked = true, true }) }

// Confirm tells that a receiver or a person has acknowledged the alert. It never blocks; an unknown id is ignored.
func (r *Route) Confirm(id string) { r.signal(func() { r.confirmed = append(r.confirmed, id) }) }

// Stats are what a route has done since it was made.
type Stats struct {
	// Tries counts the alerts handed to the sender, Failures those that it did not get through.
	Tries, Failures uint64
	// Delivered and Expired count the alerts settled.
	Delivered, Expired uint64
	// Trouble is what the last try ended in, empty if it went well.
	Trouble string
}

// Stats is how the route fares.
func (r *Route) Stats() Stats {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.stats
}

// count changes the stats.
func (r *Route) count(change func(*Stats)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change(&r.stats)
}

func (r *Route) signal(set func()) {
	r.mu.Lock()
	set()
	r.mu.Unlock()
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// Run delivers until ctx ends. It returns nil: a peer that is away is no failure.
func (r *Route) Run(ctx context.Context) error {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for ctx.Err() == nil {
		timer.Reset(r.round(ctx))
		select {
		case <-ctx.Done():
		case <-timer.C:
		case <-r.wake:
			r.take()
		}
	}
	r.take() // what was acknowledged just before the stop need not be sent again after it
	if pending, err := r.o.Outbox.Pending(r.o.Name, batch+len(r.unproven)+len(r.acked)); err == nil && len(r.acked) > 0 {
		r.settleAcked(pending)
	}
	return nil
}

// settleAcked settles what a receiver or a person has acknowledged. It returns the rest, and how many it settled: what
// the outbox cannot store now is in neither, so that it is not sent once more.
func (r *Route) settleAcked(pending []rise.Delivery) (rest []rise.Delivery, moved int) {
	for _, d := range pending {
		if r.acked[d.Alert.ID] {
			moved += r.settle(d, rise.DeliveryDelivered, d.Why)
		} else {
			rest = append(rest, d)
		}
	}
	return rest, moved
}

// take takes over what was signalled.
func (r *Route) take() {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.acked) > mostAcked { // of ids that are not ours
		clear(r.acked)
	}
	for _, id := range r.confirmed {
		r.acked[id] = true
	}
	if r.again {
		clear(r.unproven)
	}
	if r.kicked {
		r.backoff = 0
	}
	r.confirmed, r.again, r.kicked = nil, false, false
}

// round sends what is pending and returns how long to wait before the next round.
func (r *Route) round(ctx context.Context) time.Duration {
	for ctx.Err() == nil {
		if wait := time.Until(r.notBefore); wait > 0 {
			return wait
		}
		due, moved, err := r.due()
		if err != nil {
			return r.failed("", err)
		}
		for _, d := range due {
			n, wait := r.deliver(ctx, d)
			if moved += n; wait > 0 {
				return wait
			}
		}
		if moved == 0 {
			return poll
		}
	}
	return poll
}

// due settles what need not be sent, and returns what is to be sent now. It looks past what waits for the morning or
// for a confirmation, however much that is, so that nothing urgent is hidden behind it.
func (r *Route) due() (due []rise.Delivery, moved int, err error) {
	for n := batch; ; n *= 2 {
		pending, err := r.o.Outbox.Pending(r.o.Name, n)
		if err != nil {
			return nil, moved, err
		}
		rest, acked := r.settleAcked(pending)
		moved += acked
		worthless, rest := Triage(rest, r.o.Now())
		for _, w := range worthless {
			moved += r.settle(w.Delivery, w.State, w.Why)
		}
		due = slices.DeleteFunc(rest, func(d rise.Delivery) bool { return r.unproven[d.Alert.ID] })
		if len(due) > 0 || moved > 0 || len(pending) < n {
			return due, moved, nil
		}
	}
}

// deliver makes one try. It returns 1 if the alert was handed over or given up, and a wait if the next one must not be
// tried now.
func (r *Route) deliver(ctx context.Context, d rise.Delivery) (moved int, wait time.Duration) {
	limited, cancel := context.WithTimeout(ctx, sendLimit)
	err := r.o.Sender.Send(limited, d.Alert)
	cancel()
	id := d.Alert.ID
	if errors.Is(err, ErrAway) {
		return 0, r.failed(id, err)
	}
	r.tries[id]++
	r.count(func(s *Stats) {
		s.Tries++
		if err != nil && !errors.Is(err, ErrUnproven) {
			s.Failures++
		}
	})
	switch {
	case err == nil:
		r.went()
		r.acked[id] = true // if the outbox cannot store it now, it is tried again, but nothing is sent again
		return r.settle(d, rise.DeliveryDelivered, ""), 0
	case errors.Is(err, ErrUnproven):
		r.went()
		r.unproven[id] = true
		return 1, 0
	case errors.Is(err, ErrRefused) && r.tries[id] >= refusals:
		r.went()
		return r.settle(d, rise.DeliveryExpired, err.Error()), 0
	}
	return 0, r.failed(id, err)
}

// settle moves a delivery out of the pending state and returns 1, or 0 if the outbox could not store that.
func (r *Route) settle(d rise.Delivery, state rise.DeliveryState, why string) int {
	id := d.Alert.ID
	attempts := max(d.Attempts, r.tries[id])
	if err := r.o.Outbox.Settle(r.o.Name, id, state, attempts, why); err != nil {
		r.log.Error("cannot store that an alert was settled", "alert", id, "state", state, "error", err)
		return 0
	}
	delete(r.tries, id)
	delete(r.unproven, id)
	delete(r.acked, id)
	r.count(func(s *Stats) {
		if state == rise.DeliveryExpired {
			s.Expired++
		} else {
			s.Delivered++
		}
	})
	if state == rise.DeliveryExpired {
		r.log.Warn("alert given up", "alert", id, "kind", d.Alert.Kind, "why", why)
	}
	if r.o.Settled != nil {
		d.State, d.Why = state, why
		r.o.Settled(d, attempts)
	}
	return 1
}

// went notes that the peer took an alert.
func (r *Route) went() { r.backoff = 0; r.note("") }

// failed notes a trouble and returns the wait before the next try: doubling, spread by chance so that several devices
// do not come back to one peer all at once.
func (r *Route) failed(id string, err error) time.Duration {
	r.note(err.Error())
	r.backoff = min(max(2*r.backoff, firstRetry), lastRetry)
	wait := r.backoff/2 + rand.N(r.backoff/2)
	if after, ok := errors.AsType[*RetryAfter](err); ok {
		wait = min(max(wait, after.After), longestWait)
		r.notBefore = time.Now().Add(wait)
	}
	r.log.Debug("alert not delivered", "alert", cmp.Or(id, "none"), "error", err, "wait", wait)
	return wait
}

// note keeps the last trouble and logs its changes only.
func (r *Route) note(why string) {
	r.mu.Lock()
	was := r.stats.Trouble
	r.stats.Trouble = why
	r.mu.Unlock()
	switch {
	case why == was:
	case why == "":
		r.log.Info("alerts go out again", "after", was)
	default:
		r.log.Warn("alerts wait", "why", why)
	}
}
