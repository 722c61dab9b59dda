package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

var (
	errLost  = errors.New("link lost")
	errNoAck = errors.New("the broker does not acknowledge")
)

// link is one connection to the broker, from its CONNECT to its end.
type link struct {
	client paho.Client
	acks   *acks
	waits  waits
	began  time.Time
	lost   chan struct{} // closed when the connection is of no more use

	mu   sync.Mutex
	conn net.Conn
	why  error
}

// dial opens a link. The error is for trouble.
func (c *Client) dial(ctx context.Context) (*link, error) {
	l := &link{acks: newAcks(), waits: c.waits, lost: make(chan struct{})}
	limited, cancel := context.WithTimeout(ctx, c.waits.connect)
	defer cancel()
	o := c.pahoOptions()
	o.SetStore(l.acks)
	o.SetConnectionLostHandler(func(_ paho.Client, err error) { l.end(err) })
	o.SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
		conn, err := c.open(limited)
		l.mu.Lock()
		l.conn = conn
		l.mu.Unlock()
		return conn, err
	})
	l.client = paho.NewClient(o)
	token := l.client.Connect().(*paho.ConnectToken)
	stop := context.AfterFunc(limited, l.cut) // a broker that never answers, or a stop
	<-token.Done()
	stop()
	l.began = time.Now()
	if token.Error() != nil {
		return nil, &connectError{code: token.ReturnCode(), err: token.Error()}
	}
	return l, nil
}

func (c *Client) pahoOptions() *paho.ClientOptions {
	o := paho.NewClientOptions()
	o.AddBroker("tcp://" + c.b.addr)
	o.SetClientID(c.id())
	o.SetUsername(c.o.User)
	o.SetPassword(c.o.Password)
	o.SetProtocolVersion(4)   // else each refused CONNECT is tried again as MQTT 3.1
	o.SetCleanSession(false)  // commands wait for us in the broker
	o.SetAutoReconnect(false) // one loss, one connect: see connections
	o.SetConnectRetry(false)
	o.SetConnectTimeout(c.waits.connect)
	o.SetWriteTimeout(c.waits.write)
	o.SetKeepAlive(c.o.KeepAlive)
	o.SetPingTimeout(c.waits.ping)
	// In order, because commands are; a handler that never blocks and never publishes cannot deadlock the library.
	o.SetOrderMatters(true)
	o.SetDefaultPublishHandler(c.arrived)
	o.SetBinaryWill(c.topic("availability"), []byte("offline"), 1, true)
	return o
}

func (c *Client) open(ctx context.Context) (net.Conn, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", c.b.addr)
	if err != nil || !c.b.secure {
		return conn, err
	}
	config := c.o.TLS.Clone()
	if config == nil {
		config = &tls.Config{}
	}
	if config.ServerName == "" {
		config.ServerName, _, _ = net.SplitHostPort(c.b.addr)
	}
	secured := tls.Client(conn, config)
	if err := secured.HandshakeContext(ctx); err != nil {
		conn.Close()
		return nil, &handshakeError{err}
	}
	return secured, nil
}

// publish sends at QoS 1 and returns nil once the PUBACK was read. A broker that does not answer in time costs the
// link: a packet may be sent again on a new connection only [MQTT-4.4.0-1].
func (l *link) publish(ctx context.Context, topic string, retain bool, payload []byte) error {
	if l.reason() != nil {
		return errLost
	}
	token := l.client.Publish(topic, 1, retain, payload).(*paho.PublishToken)
	seen := l.acks.of(token.MessageID())
	timeout := time.NewTimer(l.waits.ack)
	defer timeout.Stop()
	failed := token.Done()
	for {
		select {
		case <-seen:
			return nil
		case <-failed: // the token ends with an acknowledgement too, so only its error means something
			if err := token.Error(); err != nil {
				l.end(err)
				return fmt.Errorf("%w: %w", errLost, err)
			}
			failed = nil
		case <-l.lost:
			return errLost
		case <-timeout.C:
			l.end(errNoAck)
			return errNoAck
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// end marks the link as of no more use; the first reason stays.
func (l *link) end(why error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.why == nil {
		l.why = why
		close(l.lost)
	}
}

func (l *link) reason() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.why
}

// cut closes the connection under the library.
func (l *link) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conn != nil {
		l.conn.Close()
	}
}

// close ends the connection: with a DISCONNECT, which suppresses the will, if it is still good, else without.
func (l *link) close() {
	if l.reason() != nil {
		l.cut()
	}
	l.end(errLost)
	l.client.Disconnect(250)
	l.cut()
}
