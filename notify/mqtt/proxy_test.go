package mqtt

import (
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// proxy stands between the client and the broker and harms the traffic.
type proxy struct {
	addr   string
	target string
	listen net.Listener
	wg     sync.WaitGroup

	mu     sync.Mutex
	closed bool
	gate   bool // new connections are let through
	pairs  map[*pair]bool
	done   map[string]int // what was done how often
}

// pair is one connection through the proxy.
type pair struct {
	near, far net.Conn
	mu        sync.Mutex
	delay     time.Duration
	deaf      [2]bool // nothing is passed on any more: client to broker, broker to client
}

func newProxy(t *testing.T, target string) *proxy {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := &proxy{addr: l.Addr().String(), target: target, listen: l, gate: true, pairs: map[*pair]bool{}, done: map[string]int{}}
	p.wg.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			p.wg.Go(func() { p.pass(conn) })
		}
	})
	t.Cleanup(p.close)
	return p
}

func (p *proxy) close() {
	p.mu.Lock()
	p.closed = true
	p.mu.Unlock()
	p.listen.Close()
	p.cutAll()
	p.wg.Wait()
}

// pass passes one connection on until both directions are through.
func (p *proxy) pass(near net.Conn) {
	p.mu.Lock()
	open := p.gate && !p.closed
	p.mu.Unlock()
	if !open {
		near.Close()
		return
	}
	far, err := net.Dial("tcp", p.target)
	if err != nil {
		near.Close()
		return
	}
	pr := &pair{near: near, far: far}
	p.mu.Lock()
	p.pairs[pr] = true
	if p.closed {
		pr.cut()
	}
	p.mu.Unlock()
	var wg sync.WaitGroup
	wg.Go(func() { pr.copy(far, near, 0) })
	wg.Go(func() { pr.copy(near, far, 1) })
	wg.Wait()
	pr.cut()
	p.mu.Lock()
	delete(p.pairs, pr)
	p.mu.Unlock()
}

func (pr *pair) cut() { pr.near.Close(); pr.far.Close() }

func (pr *pair) copy(to, from net.Conn, direction int) {
	buf := make([]byte, 4096)
	for {
		n, err := from.Read(buf)
		pr.mu.Lock()
		delay, deaf := pr.delay, pr.deaf[direction]
		pr.mu.Unlock()
		if deaf && err == nil {
			continue // swallowed: neither end knows
		}
		time.Sleep(delay)
		if n > 0 {
			if _, werr := to.Write(buf[:n]); werr != nil {
				pr.cut()
				return
			}
		}
		if err == io.EOF {
			if half, ok := to.(*net.TCPConn); ok {
				_ = half.CloseWrite()
			}
			return
		}
		if err != nil {
			pr.cut()
			return
		}
	}
}

func (p *proxy) setGate(open bool) {
	p.mu.Lock()
	p.gate = open
	p.mu.Unlock()
}

func (p *proxy) cutAll() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for pr := range p.pairs {
		pr.cut()
	}
}

// harm does one thing by chance to every connection of the moment.
func (p *proxy) harm(r *rand.Rand) {
	p.mu.Lock()
	defer p.mu.Unlock()
	kinds := []string{"cut", "delay", "deaf to the client", "deaf to the broker", "half-close"}
	kind := kinds[r.IntN(len(kinds))]
	delay := time.Duration(r.IntN(150)) * time.Millisecond
	for pr := range p.pairs {
		p.done[kind]++
		pr.mu.Lock()
		switch kind {
		case "cut":
			pr.cut()
		case "delay":
			pr.delay = delay
		case "deaf to the client":
			pr.deaf[0] = true
		case "deaf to the broker":
			pr.deaf[1] = true
		case "half-close":
			_ = pr.far.(*net.TCPConn).CloseWrite()
		}
		pr.mu.Unlock()
	}
}
