package mqtt

import (
	"context"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	inside "nightjar/notify/broker"
	"nightjar/notify/notifytest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// island is a daemon with its embedded broker, which die together.
type island struct {
	client *Client
	die    func()
}

// launch starts an island on a port, on what the outbox holds.
func launchIsland(t *testing.T, addr string, o *notifytest.Outbox) (is *island, at string) {
	is = &island{}
	var b *inside.Broker
	require.Eventually(t, func() bool {
		var err error
		b, err = inside.Listen(inside.Options{
			Addr:         addr,
			Acknowledged: func(topic string, payload []byte) { is.client.Acknowledged(topic, payload) },
			Subscribed:   func(client, filter string) { is.client.Subscribed(client, filter) },
		})
		return err == nil
	}, 5*time.Second, 5*time.Millisecond)
	is.client, _ = newClient(t, b.Addr(), func(op *Options) { op.Outbox, op.Unproven = o, true })
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() { _ = is.client.Run(ctx) })
	wg.Go(func() { assert.NoError(t, b.Run(ctx)) })
	is.die = func() {
		if l := is.client.current(); l != nil {
			l.cut()
		}
		cancel()
		wg.Wait()
	}
	return is, b.Addr()
}

// Between the embedded broker and the phone the network is harmed, and daemon and broker die together. An alert counts
// as delivered only if the phone has it, and in the end it has all of them.
func TestChaosBehindTheEmbeddedBroker(t *testing.T) {
	t.Logf("seed %d", *seed)
	r := rand.New(rand.NewPCG(*seed, 1))
	var o notifytest.Outbox
	is, addr := launchIsland(t, "127.0.0.1:0", &o)
	p := newProxy(t, addr)
	ph := newPhone(t, p.addr)
	began := time.Now()
	deadline := began.Add(60*time.Second + chaosAlerts*20*time.Millisecond)
	issued, deaths := 0, 0
	for (issued < chaosAlerts || !o.Settled(chaosAlerts)) && time.Now().Before(deadline) {
		for range r.IntN(30) {
			if issued < chaosAlerts {
				require.NoError(t, o.Issue(notifytest.Alert("main", issued)))
				issued++
			}
		}
		is.client.Kick()
		time.Sleep(time.Duration(10+r.IntN(80)) * time.Millisecond) // the pace of the harm, no wait for a result
		switch n := r.IntN(10); {
		case n == 0:
			deaths++
			is.die()
			is, _ = launchIsland(t, addr, &o)
		case n < 6:
			p.harm(r)
			if n == 1 { // what a phone does that has heard nothing for a while
				p.cutAll()
			}
		}
	}
	took := time.Since(began)
	is.die()
	ph.mu.Lock()
	defer ph.mu.Unlock()
	t.Logf("\nalerts issued      %6d\nreceived, by id    %6d\nreceived in all    %6d\ndaemon died        %6d\nnetwork harmed     %6v\ntook               %v",
		issued, len(ph.seen), ph.total, deaths, p.done, took.Round(time.Millisecond))
	assert.True(t, o.Settled(chaosAlerts), "all are delivered")
	for i := range issued {
		id := notifytest.Alert("main", i).ID
		if o.Delivery("mqtt", id).State == "delivered" {
			assert.True(t, ph.seen[id], "%s counts as delivered, but nobody has it", id)
		}
	}
	assert.Equal(t, chaosAlerts, len(ph.seen))
}
