package mqtt

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"strings"
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

// Alerts are issued at three stations while the network between client and broker is cut, delayed, deafened and
// half-closed, the broker is killed, and the client is killed and started again on what its outbox holds.
func TestChaos(t *testing.T) {
	t.Logf("seed %d", *seed)
	r := rand.New(rand.NewPCG(*seed, 0))
	m := newMosquitto(t,
		// A killed broker loses what it has acknowledged and not yet sent on: have it send on at once.
		"allow_anonymous true", "max_queued_messages 0", "max_inflight_messages 0", "set_tcp_nodelay true")
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
	deadline := time.Now().Add(max(60*time.Second, chaosAlerts*50*time.Millisecond))
	for !o.Settled(chaosAlerts) && time.Now().Before(deadline) {
		time.Sleep(time.Duration(10+r.IntN(150)) * time.Millisecond) // the pace of the harm, no wait for a result
		switch r.IntN(8) {
		case 0:
			kills["broker"]++
			p.setGate(false)
			p.cutAll()
			ph.forgetBack()
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
	assert.Eventually(t, func() bool { return ph.distinct() == chaosAlerts }, 5*time.Second, 5*time.Millisecond)

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
	assert.Equal(t, chaosAlerts, len(ph.seen))
	assert.True(t, settled, "the outbox knows that all are delivered")
}
