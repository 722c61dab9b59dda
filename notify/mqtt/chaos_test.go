package mqtt

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"nightjar/notify/notifytest"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var seed = flag.Uint64("seed", 20260314, "seed of the chaos test")

// phone is a consumer that de-duplicates by id. It lives beside the broker and finds its way back to it by itself.
type phone struct {
	client paho.Client
	back   chan struct{} // a token after each subscription

	mu    sync.Mutex
	total int
	first map[string][]string // by station, ids in the order in which they came first
	seen  map[string]bool
}

func newPhone(t *testing.T, addr string) *phone {
	p := &phone{back: make(chan struct{}, 1), first: map[string][]string{}, seen: map[string]bool{}}
	o := paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("phone").SetCleanSession(false).SetProtocolVersion(4)
	o.SetConnectRetry(true).SetConnectRetryInterval(10 * time.Millisecond).SetMaxReconnectInterval(10 * time.Millisecond)
	o.SetStore(paho.NewOrderedMemoryStore())
	o.SetDefaultPublishHandler(p.message) // in order, and it never blocks
	o.SetOnConnectHandler(func(c paho.Client) {
		if token := c.Subscribe("nightjar/+/+/alert", 1, nil); token.Wait() && token.Error() == nil {
			select {
			case p.back <- struct{}{}:
			default:
			}
		}
	})
	p.client = paho.NewClient(o)
	p.client.Connect()
	t.Cleanup(func() { p.client.Disconnect(250) })
	p.waitBack(t)
	return p
}

func (p *phone) waitBack(t *testing.T) {
	select {
	case <-p.back:
	case <-time.After(20 * time.Second):
		require.FailNow(t, "the consumer does not come back")
	}
}

func (p *phone) message(_ paho.Client, m paho.Message) {
	var msg struct{ ID, Station string }
	_ = json.Unmarshal(m.Payload(), &msg) // an empty id shows as a wrong one
	p.mu.Lock()
	defer p.mu.Unlock()
	p.total++
	if !p.seen[msg.ID] {
		p.seen[msg.ID] = true
		p.first[msg.Station] = append(p.first[msg.Station], msg.ID)
	}
}

func (p *phone) distinct() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.seen)
}

// Alerts are issued at three stations while the network between client and broker is cut, delayed, deafened and
// half-closed, the broker is killed, and the client is killed and started again on what its outbox holds.
func TestChaos(t *testing.T) {
	t.Logf("seed %d", *seed)
	r := rand.New(rand.NewPCG(*seed, 0))
	m := newMosquitto(t, "allow_anonymous true", "max_queued_messages 0")
	ph := newPhone(t, m.addr)
	p := newProxy(t, m.addr)
	var o notifytest.Outbox
	began := time.Now()

	kills := map[string]int{}
	var client *Client
	var dead func()
	launch := func() {
		c, _ := newClient(t, p.addr, func(op *Options) { op.Outbox = &o })
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan struct{})
		go func() { defer close(done); _ = c.Run(ctx) }()
		client, dead = c, func() { // as kill -9 ends it: the kernel closes the socket, nothing is said
			if l := c.current(); l != nil {
				l.cut()
			}
			cancel()
			<-done
		}
	}
	launch()
	want := map[string][]string{}
	stop := make(chan struct{})
	var issuing sync.WaitGroup
	var mu sync.Mutex // guards client and want
	issuing.Go(func() {
		for i := range chaosAlerts {
			a := notifytest.Alert(fmt.Sprintf("s%d", i%3), i)
			mu.Lock()
			_ = o.Issue(a) // never fails
			want[a.Station] = append(want[a.Station], a.ID)
			client.Kick()
			mu.Unlock()
			select {
			case <-time.After(time.Duration(i%13) * time.Millisecond):
			case <-stop:
				return
			}
		}
	})
	deadline := time.Now().Add(max(60*time.Second, chaosAlerts*100*time.Millisecond))
	for ph.distinct() < chaosAlerts && time.Now().Before(deadline) {
		time.Sleep(time.Duration(10+r.IntN(150)) * time.Millisecond) // the pace of the harm, no wait for a result
		switch r.IntN(8) {
		case 0:
			kills["broker"]++
			p.setGate(false)
			p.cutAll()
			m.kill()
			m.start()
			ph.waitBack(t)
			p.setGate(true)
		case 1:
			kills["client"]++
			mu.Lock()
			dead()
			launch()
			mu.Unlock()
		default:
			p.harm(r)
		}
	}
	close(stop)
	issuing.Wait()
	took := time.Since(began)
	settled := o.Wait("mqtt", 20*time.Second)
	dead()

	ph.mu.Lock()
	defer ph.mu.Unlock()
	lost, disorder := 0, 0
	for station, ids := range want {
		for _, id := range ids {
			if !ph.seen[id] {
				lost++
			}
		}
		if strings.Join(ids, " ") != strings.Join(ph.first[station], " ") {
			disorder++
		}
	}
	t.Logf("\nalerts issued          %6d\nreceived, by id        %6d\nreceived in all        %6d\nlost                   %6d\n"+
		"stations out of order  %6d\nbroker killed          %6d\nclient killed          %6d\nnetwork harmed         %6v\ntook                   %v",
		chaosAlerts, len(ph.seen), ph.total, lost, disorder, kills["broker"], kills["client"], p.done, took.Round(time.Millisecond))
	assert.Zero(t, lost)
	assert.Zero(t, disorder)
	assert.Len(t, ph.seen, chaosAlerts)
	assert.True(t, settled, "the outbox knows that all are delivered")
}
