package mqtt

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"nightjar/notify/notifytest"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var seed = flag.Uint64("seed", 20260314, "seed of the chaos test")

// phone is a consumer that de-duplicates by id. It lives beside the broker, finds its way back to it by itself, and reads
// to the last byte what a killed broker had sent.
type phone struct {
	addr string
	back chan struct{} // a token after each subscription

	mu    sync.Mutex
	conn  net.Conn
	total int
	first map[string][]string // by station, ids in the order in which they came first
	seen  map[string]bool
}

func newPhone(t *testing.T, addr string) *phone {
	p := &phone{addr: addr, back: make(chan struct{}, 1), first: map[string][]string{}, seen: map[string]bool{}}
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() {
		for ctx.Err() == nil {
			p.connection()
			time.Sleep(2 * time.Millisecond) // the pace of coming back
		}
	})
	t.Cleanup(func() {
		cancel()
		p.mu.Lock()
		if p.conn != nil {
			p.conn.Close()
		}
		p.mu.Unlock()
		wg.Wait()
	})
	p.waitBack(t)
	return p
}

func (p *phone) connection() {
	conn, err := net.Dial("tcp", p.addr)
	if err != nil {
		return
	}
	defer conn.Close()
	p.mu.Lock()
	p.conn = conn
	p.mu.Unlock()
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.Keepalive = "MQTT", 4, "phone", 3600
	sub := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	sub.MessageID, sub.Topics, sub.Qoss = 1, []string{"nightjar/+/+/alert"}, []byte{1}
	if hello.Write(conn) != nil || sub.Write(conn) != nil {
		return
	}
	for {
		packet, err := packets.ReadPacket(conn)
		if err != nil {
			return
		}
		switch packet := packet.(type) {
		case *packets.SubackPacket:
			select {
			case p.back <- struct{}{}:
			default:
			}
		case *packets.PublishPacket:
			p.message(packet.Payload)
			ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
			ack.MessageID = packet.MessageID
			_ = ack.Write(conn) // the broker may be dead, and more of its words still to be read
		}
	}
}

func (p *phone) waitBack(t *testing.T) {
	select {
	case <-p.back:
	case <-time.After(20 * time.Second):
		require.FailNow(t, "the consumer does not come back")
	}
}

func (p *phone) forgetBack() {
	select {
	case <-p.back:
	default:
	}
}

func (p *phone) message(payload []byte) {
	var msg struct{ ID, Station string }
	_ = json.Unmarshal(payload, &msg) // an empty id shows as a wrong one
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

// chaos is a client, a network and a broker in trouble, and a consumer who counts.
type chaos struct {
	t      *testing.T
	r      *rand.Rand
	broker *mosquitto
	phone  *phone
	net    *proxy
	outbox notifytest.Outbox
	kills  map[string]int

	mu     sync.Mutex // guards what follows
	client *Client
	dead   func() // kills the client
	want   map[string][]string
}

// launch starts a client on what the outbox holds.
func (ch *chaos) launch() {
	c, _ := newClient(ch.t, ch.net.addr, func(o *Options) { o.Outbox = &ch.outbox })
	impatient(c)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = c.Run(ctx) }()
	ch.client, ch.dead = c, func() { // as kill -9 ends it: the kernel closes the socket, nothing is said
		if l := c.current(); l != nil {
			l.cut()
		}
		cancel()
		<-done
	}
}

// issue issues alerts at three stations until all are out or ctx ends.
func (ch *chaos) issue(ctx context.Context) {
	for i := range chaosAlerts {
		a := notifytest.Alert(fmt.Sprintf("s%d", i%3), i)
		ch.mu.Lock()
		_ = ch.outbox.Issue(a) // never fails
		ch.want[a.Station] = append(ch.want[a.Station], a.ID)
		ch.client.Kick()
		ch.mu.Unlock()
		select {
		case <-time.After(time.Duration(i%13) * time.Millisecond):
		case <-ctx.Done():
			return
		}
	}
}

// harm does one thing by chance.
func (ch *chaos) harm() {
	switch ch.r.IntN(8) {
	case 0:
		ch.kills["broker"]++
		ch.net.setGate(false)
		ch.net.cutAll()
		ch.phone.forgetBack()
		ch.broker.kill()
		ch.broker.start()
		ch.phone.waitBack(ch.t) // it lives beside the broker; without it an acknowledged alert would reach nobody
		ch.net.setGate(true)
	case 1:
		ch.kills["client"]++
		ch.mu.Lock()
		ch.dead()
		ch.launch()
		ch.mu.Unlock()
	default:
		ch.net.harm(ch.r)
	}
}

// count compares what was issued with what came.
func (ch *chaos) count() (lost, disorder int) {
	ch.phone.mu.Lock()
	defer ch.phone.mu.Unlock()
	for station, ids := range ch.want {
		for _, id := range ids {
			if !ch.phone.seen[id] {
				lost++
			}
		}
		if !slices.Equal(ids, ch.phone.first[station]) {
			disorder++
		}
	}
	return lost, disorder
}

// Alerts are issued at three stations while the network between client and broker is cut, delayed, deafened and
// half-closed, the broker is killed, and the client is killed and started again on what its outbox holds.
func TestChaos(t *testing.T) {
	t.Logf("seed %d", *seed)
	ch := &chaos{t: t, r: rand.New(rand.NewPCG(*seed, 0)), kills: map[string]int{}, want: map[string][]string{}}
	ch.broker = newMosquitto(t, "allow_anonymous true", "max_queued_messages 0", "set_tcp_nodelay true")
	ch.phone = newPhone(t, ch.broker.addr)
	ch.net = newProxy(t, ch.broker.addr)
	ch.launch()
	began := time.Now()
	ctx, cancel := context.WithTimeout(t.Context(), max(60*time.Second, chaosAlerts*50*time.Millisecond))
	defer cancel()
	var issuing sync.WaitGroup
	issuing.Go(func() { ch.issue(ctx) })
	for !ch.outbox.Settled(chaosAlerts) && ctx.Err() == nil {
		time.Sleep(time.Duration(10+ch.r.IntN(150)) * time.Millisecond) // the pace of the harm, no wait for a result
		ch.harm()
	}
	issuing.Wait()
	took := time.Since(began)
	assert.True(t, ch.outbox.Wait("mqtt", 20*time.Second), "the outbox knows that all are delivered")
	ch.dead()
	assert.Eventually(t, func() bool { return ch.phone.distinct() == chaosAlerts }, 5*time.Second, 5*time.Millisecond)
	lost, disorder := ch.count()
	t.Logf("\nalerts issued          %6d\nreceived, by id        %6d\nreceived in all        %6d\nlost                   %6d\n"+
		"stations out of order  %6d\nbroker killed          %6d\nclient killed          %6d\nnetwork harmed         %6v\ntook                   %v",
		chaosAlerts, ch.phone.distinct(), ch.phone.total, lost, disorder, ch.kills["broker"], ch.kills["client"], ch.net.done, took.Round(time.Millisecond))
	assert.Zero(t, lost)
	assert.Zero(t, disorder)
}
