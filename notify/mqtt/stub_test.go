package mqtt

import (
	"net"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/require"
)

// stub is a broker for one client at a time that can misbehave. It counts what it gets.
type stub struct {
	t    *testing.T
	addr string

	mu       sync.Mutex
	listen   net.Listener
	conns    map[net.Conn]bool
	connects int
	got      []*packets.PublishPacket
	news     chan struct{} // one token after each change

	// Set before the client runs.
	refuse  byte                                           // the code of the CONNACK
	connack func(n int) bool                               // whether the n-th CONNECT is answered; nil is always
	puback  func(n int, p *packets.PublishPacket) reaction // what follows the n-th PUBLISH; nil acknowledges
}

// reaction is what the stub does after a PUBLISH.
type reaction int

const (
	acknowledge reaction = iota
	swallow
	cut
)

func newStub(t *testing.T) *stub {
	s := &stub{t: t, conns: map[net.Conn]bool{}, news: make(chan struct{}, 1)}
	s.start()
	t.Cleanup(s.stop)
	return s
}

// start listens, on the same port as before.
func (s *stub) start() {
	addr := s.addr
	if addr == "" {
		addr = "127.0.0.1:0"
	}
	var l net.Listener
	require.Eventually(s.t, func() (ok bool) {
		var err error
		l, err = net.Listen("tcp", addr)
		return err == nil
	}, 5*time.Second, 5*time.Millisecond)
	s.addr = l.Addr().String()
	s.mu.Lock()
	s.listen = l
	s.mu.Unlock()
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			s.conns[conn] = true
			s.mu.Unlock()
			go s.serve(conn)
		}
	}()
}

// stop closes the port and cuts every connection.
func (s *stub) stop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.listen.Close()
	for c := range s.conns {
		c.Close()
	}
}

func (s *stub) serve(conn net.Conn) {
	defer func() {
		conn.Close()
		s.mu.Lock()
		delete(s.conns, conn)
		s.mu.Unlock()
	}()
	for {
		p, err := packets.ReadPacket(conn)
		if err != nil || !s.answer(conn, p) {
			return
		}
	}
}

// answer answers one packet and reports whether the connection goes on.
func (s *stub) answer(conn net.Conn, p packets.ControlPacket) bool {
	switch p := p.(type) {
	case *packets.ConnectPacket:
		s.mu.Lock()
		s.connects++
		n := s.connects
		s.mu.Unlock()
		s.tell()
		if s.connack != nil && !s.connack(n) {
			return true
		}
		ack := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
		ack.ReturnCode = s.refuse
		return ack.Write(conn) == nil && s.refuse == 0
	case *packets.SubscribePacket:
		ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
		ack.MessageID, ack.ReturnCodes = p.MessageID, p.Qoss
		return ack.Write(conn) == nil
	case *packets.PublishPacket:
		s.mu.Lock()
		s.got = append(s.got, p)
		n := len(s.got)
		s.mu.Unlock()
		s.tell()
		what := acknowledge
		if s.puback != nil {
			what = s.puback(n, p)
		}
		if what != acknowledge {
			return what == swallow
		}
		ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
		ack.MessageID = p.MessageID
		return ack.Write(conn) == nil
	case *packets.PingreqPacket:
		return packets.NewControlPacket(packets.Pingresp).Write(conn) == nil
	}
	_, bye := p.(*packets.DisconnectPacket)
	return !bye
}

func (s *stub) tell() {
	select {
	case s.news <- struct{}{}:
	default:
	}
}

// send publishes to the client, at QoS 1.
func (s *stub) send(topic string, payload []byte, retained bool) {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload, p.Qos, p.MessageID, p.Retain = topic, payload, 1, 77, retained
	s.mu.Lock()
	defer s.mu.Unlock()
	for c := range s.conns {
		_ = p.Write(c)
	}
}

// payloads lists what was published on a topic, in order.
func (s *stub) payloads(topic string) (ps []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, p := range s.got {
		if p.TopicName == topic {
			ps = append(ps, string(p.Payload))
		}
	}
	return ps
}

// waitFor waits until the condition holds after something has come in.
func (s *stub) waitFor(what string, holds func() bool) {
	s.t.Helper()
	deadline := time.After(20 * time.Second)
	for !holds() {
		select {
		case <-s.news:
		case <-deadline:
			require.FailNow(s.t, "not in time: "+what)
		}
	}
}

func (s *stub) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.connects
}
