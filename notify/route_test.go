package notify_test

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nightjar/notify"
	"nightjar/notify/notifytest"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// peer is a Sender that notes what it got, and when, and answers what it is told.
type peer struct {
	mu     sync.Mutex
	ids    []string
	at     []time.Duration // since began
	began  time.Time
	answer func(n int, a rise.Alert) error // n counts the calls from 1
}

func (p *peer) Send(_ context.Context, a rise.Alert) error {
	p.mu.Lock()
	p.ids = append(p.ids, a.ID)
	p.at = append(p.at, time.Since(p.began))
	n := len(p.ids)
	p.mu.Unlock()
	if p.answer == nil {
		return nil
	}
	return p.answer(n, a)
}

// got is what it got so far, gotAt when.
func (p *peer) got() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.ids)
}

func (p *peer) gotAt() []time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.at)
}

func (p *peer) forget() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.ids = nil
}

// running starts a route for the peer in a bubble; the bubble waits for its end.
func running(t *testing.T, p *peer, o *notifytest.Outbox) *notify.Route {
	p.began = time.Now()
	r := notify.NewRoute(notify.RouteOptions{Name: "mqtt", Outbox: o, Sender: p})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- r.Run(ctx) }()
	t.Cleanup(func() { cancel(); assert.NoError(t, <-done) })
	return r
}

// sleep lets the bubble's time pass and everything that is due happen.
func sleep(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

func issue(t *testing.T, o *notifytest.Outbox, from, to int) (ids []string) {
	for n := from; n < to; n++ {
		a := notifytest.Alert("main", n)
		require.NoError(t, o.Issue(a))
		ids = append(ids, a.ID)
	}
	return ids
}

func TestRouteDeliversInOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		ids := issue(t, &o, 0, 100)
		p := &peer{}
		r := running(t, p, &o)
		synctest.Wait()
		assert.Equal(t, ids, p.got())

		ids = append(ids, issue(t, &o, 100, 103)...)
		r.Kick()
		synctest.Wait()
		assert.Equal(t, ids, p.got())
		assert.Zero(t, p.gotAt()[102], "a kick is not waited for")
		d := o.Delivery("mqtt", ids[102])
		assert.Equal(t, rise.DeliveryDelivered, d.State)
		assert.Equal(t, 1, d.Attempts)
	})
}

func TestRouteFindsAnAlertWithoutAKick(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		p := &peer{}
		running(t, p, &o)
		synctest.Wait()
		ids := issue(t, &o, 0, 1)
		sleep(2 * time.Minute)
		assert.Equal(t, ids, p.got())
	})
}

func TestRouteTriesTheSameAlertAgainAndKeepsOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		ids := issue(t, &o, 0, 3)
		p := &peer{answer: func(n int, _ rise.Alert) error {
			if n <= 12 {
				return errors.New("no answer")
			}
			return nil
		}}
		r := running(t, p, &o)
		sleep(time.Minute)
		assert.Equal(t, "no answer", r.Stats().Trouble)
		sleep(time.Hour)
		assert.Equal(t, append(repeat(ids[0], 12), ids...), p.got())
		assert.Equal(t, 13, o.Delivery("mqtt", ids[0]).Attempts)
		assert.Equal(t, notify.Stats{Tries: 15, Failures: 12, Delivered: 3}, r.Stats())
		assert.Empty(t, r.Stats().Trouble)
		for i := 1; i < 13; i++ {
			gap := p.gotAt()[i] - p.gotAt()[i-1]
			assert.GreaterOrEqual(t, gap, 250*time.Millisecond)
			assert.LessOrEqual(t, gap, time.Minute)
		}
		assert.Greater(t, p.gotAt()[12]-p.gotAt()[11], 29*time.Second, "the back-off grows")
	})
}

func repeat(id string, n int) (ids []string) {
	for range n {
		ids = append(ids, id)
	}
	return ids
}

func TestRouteWaitsForTheLinkAndCountsNoTry(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		ids := issue(t, &o, 0, 1)
		var up atomic.Bool
		p := &peer{answer: func(int, rise.Alert) error {
			if !up.Load() {
				return notify.ErrAway
			}
			return nil
		}}
		r := running(t, p, &o)
		sleep(24 * time.Hour)
		up.Store(true)
		at := time.Now()
		r.Kick()
		synctest.Wait()
		assert.Equal(t, rise.DeliveryDelivered, o.Delivery("mqtt", ids[0]).State)
		assert.Equal(t, 1, o.Delivery("mqtt", ids[0]).Attempts)
		assert.Zero(t, time.Since(at))
		assert.Less(t, len(p.got()), 24*60*3, "an outage of a day costs a bounded count of looks")
	})
}

func TestRouteObeysRetryAfterEvenWhenKicked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		issue(t, &o, 0, 1)
		p := &peer{answer: func(n int, _ rise.Alert) error {
			if n == 1 {
				return &notify.RetryAfter{After: 10 * time.Minute, Err: errors.New("429")}
			}
			return nil
		}}
		r := running(t, p, &o)
		for range 20 {
			sleep(20 * time.Second)
			r.Kick()
		}
		assert.Len(t, p.got(), 1)
		sleep(5 * time.Minute)
		require.Len(t, p.got(), 2)
		assert.GreaterOrEqual(t, p.gotAt()[1], 10*time.Minute)
		assert.Less(t, p.gotAt()[1], 11*time.Minute)
	})
}

func TestRouteGivesUpWhatIsRefusedSoThatTheNextGoesOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		ids := issue(t, &o, 0, 2)
		p := &peer{answer: func(_ int, a rise.Alert) error {
			if a.ID == ids[0] {
				return errors.Join(notify.ErrRefused, errors.New("400: no such field"))
			}
			return nil
		}}
		running(t, p, &o)
		sleep(5 * time.Minute)
		d := o.Delivery("mqtt", ids[0])
		assert.Equal(t, rise.DeliveryExpired, d.State)
		assert.Contains(t, d.Why, "no such field")
		assert.Equal(t, 5, d.Attempts)
		assert.Equal(t, rise.DeliveryDelivered, o.Delivery("mqtt", ids[1]).State)
	})
}

func TestRouteLooksPastWhatWaitsForTheMorning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		var held []string
		for i := range 200 {
			a := notifytest.Alert("main", i)
			a.Kind, a.NotBefore = rise.AlertCold, time.Now().Add(time.Hour)
			require.NoError(t, o.Issue(a))
			held = append(held, a.ID)
		}
		urgent := issue(t, &o, 200, 201)
		p := &peer{}
		running(t, p, &o)
		synctest.Wait()
		assert.Equal(t, urgent, p.got(), "what wakes does not wait behind it")
		sleep(time.Hour + time.Minute)
		assert.Equal(t, append(urgent, held...), p.got())
	})
}

func TestRouteHoldsWhatNobodyHasConfirmed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		ids := issue(t, &o, 0, 40)
		p := &peer{answer: func(int, rise.Alert) error { return notify.ErrUnproven }}
		r := running(t, p, &o)
		sleep(time.Hour)
		require.Equal(t, ids, p.got(), "sent once each, in order, whatever time passes")
		assert.Equal(t, rise.DeliveryPending, o.Delivery("mqtt", ids[0]).State)

		r.Confirm(ids[7])
		r.Confirm("of-another-device")
		synctest.Wait()
		assert.Equal(t, rise.DeliveryDelivered, o.Delivery("mqtt", ids[7]).State)
		assert.Equal(t, rise.DeliveryPending, o.Delivery("mqtt", ids[8]).State)

		p.forget()
		r.Again()
		synctest.Wait()
		assert.Equal(t, append(append([]string{}, ids[:7]...), ids[8:]...), p.got())
	})
}

func TestRouteSettlesAConfirmationThatComesJustBeforeTheStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o notifytest.Outbox
		ids := issue(t, &o, 0, 1)
		ctx, cancel := context.WithCancel(t.Context())
		var r *notify.Route
		p := &peer{answer: func(_ int, a rise.Alert) error {
			r.Confirm(a.ID)
			cancel()
			return notify.ErrUnproven
		}}
		r = notify.NewRoute(notify.RouteOptions{Name: "mqtt", Outbox: &o, Sender: p})
		require.NoError(t, r.Run(ctx))
		assert.Equal(t, rise.DeliveryDelivered, o.Delivery("mqtt", ids[0]).State)
	})
}

// A full disk rings nobody twice.
func TestRouteWhenTheOutboxCannotStoreADelivery(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var full atomic.Bool
		full.Store(true)
		o := notifytest.Outbox{Fail: func(string) error {
			if full.Load() {
				return errors.New("no space left on device")
			}
			return nil
		}}
		ids := issue(t, &o, 0, 2)
		p := &peer{}
		running(t, p, &o)
		sleep(time.Hour)
		assert.Equal(t, ids, p.got())
		assert.Equal(t, rise.DeliveryPending, o.Delivery("mqtt", ids[0]).State)
		full.Store(false)
		sleep(2 * time.Minute)
		for _, id := range ids {
			assert.Equal(t, rise.DeliveryDelivered, o.Delivery("mqtt", id).State)
		}
		assert.Equal(t, ids, p.got())
	})
}

func TestOutboxInMemory(t *testing.T) {
	notifytest.Suite(t, func(*testing.T) (notify.Outbox, func(rise.Alert) (rise.Alert, error)) {
		o := &notifytest.Outbox{Routes: []string{"mqtt", "push"}}
		return o, func(a rise.Alert) (rise.Alert, error) { return a, o.Issue(a) }
	})
}
