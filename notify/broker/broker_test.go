package broker

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// heard collects what the broker tells.
type heard struct {
	mu    sync.Mutex
	lines []string
	news  chan struct{}
}

func newHeard() *heard { return &heard{news: make(chan struct{}, 1)} }

func (h *heard) add(line string) {
	h.mu.Lock()
	h.lines = append(h.lines, line)
	h.mu.Unlock()
	select {
	case h.news <- struct{}{}:
	default:
	}
}

func (h *heard) acknowledged(topic string, payload []byte) {
	h.add("ack " + topic + " " + string(payload))
}
func (h *heard) subscribed(client, filter string) { h.add("sub " + client + " " + filter) }

func (h *heard) all() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]string{}, h.lines...)
}

// wait waits until a line has come.
func (h *heard) wait(t *testing.T, line string) {
	t.Helper()
	deadline := time.After(10 * time.Second)
	for {
		for _, l := range h.all() {
			if l == line {
				return
			}
		}
		select {
		case <-h.news:
		case <-deadline:
			require.FailNow(t, "not heard: "+line, "%q", h.all())
		}
	}
}

func serve(t *testing.T, o Options) (*Broker, func()) {
	if o.Addr == "" {
		o.Addr = "127.0.0.1:0"
	}
	o.Logger = slog.New(slog.DiscardHandler)
	b, err := Listen(o)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	var once sync.Once
	stop := func() { once.Do(func() { cancel(); assert.NoError(t, <-done) }) }
	t.Cleanup(stop)
	return b, stop
}

// mind is a client of its own, packet by packet: what it acknowledges is the test's choice.
type mind struct {
	t    *testing.T
	conn net.Conn
}

// connect connects and returns the client and the CONNACK.
func connect(t *testing.T, b *Broker, id string, change func(*packets.ConnectPacket)) (*mind, *packets.ConnackPacket) {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr())
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	m := &mind{t, conn}
	p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	p.ProtocolName, p.ProtocolVersion, p.ClientIdentifier, p.Keepalive, p.CleanSession = "MQTT", 4, id, 60, true
	if change != nil {
		change(p)
	}
	m.write(p)
	ack, ok := m.read().(*packets.ConnackPacket)
	require.True(t, ok)
	return m, ack
}

func (m *mind) write(p packets.ControlPacket) {
	m.t.Helper()
	require.NoError(m.t, p.Write(m.conn))
}

func (m *mind) read() packets.ControlPacket {
	m.t.Helper()
	require.NoError(m.t, m.conn.SetReadDeadline(time.Now().Add(10*time.Second)))
	p, err := packets.ReadPacket(m.conn)
	require.NoError(m.t, err)
	return p
}

// message reads the next PUBLISH.
func (m *mind) message() *packets.PublishPacket {
	m.t.Helper()
	for {
		if p, ok := m.read().(*packets.PublishPacket); ok {
			return p
		}
	}
}

func (m *mind) subscribe(filter string, qos byte) {
	m.t.Helper()
	p := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	p.MessageID, p.Topics, p.Qoss = 1000, []string{filter}, []byte{qos}
	m.write(p)
	for {
		if _, ok := m.read().(*packets.SubackPacket); ok {
			return
		}
	}
}

func (m *mind) publish(id uint16, topic, payload string, retain bool) {
	m.t.Helper()
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.MessageID, p.Qos, p.TopicName, p.Payload, p.Retain = id, 1, topic, []byte(payload), retain
	m.write(p)
}

// published publishes and reads the PUBACK.
func (m *mind) published(id uint16, topic, payload string, retain bool) {
	m.t.Helper()
	m.publish(id, topic, payload, retain)
	for {
		if ack, ok := m.read().(*packets.PubackPacket); ok && ack.MessageID == id {
			return
		}
	}
}

func (m *mind) acknowledge(p *packets.PublishPacket) {
	m.t.Helper()
	ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
	ack.MessageID = p.MessageID
	m.write(ack)
}

func keep(p *packets.ConnectPacket) { p.CleanSession = false }

func TestOnlyASubscribersAcknowledgementIsTold(t *testing.T) {
	h := newHeard()
	b, _ := serve(t, Options{Acknowledged: h.acknowledged, Subscribed: h.subscribed})
	daemon, _ := connect(t, b, "daemon", nil)
	daemon.published(1, "b/alert", "nobody listens", false)
	phone, _ := connect(t, b, "phone", nil)
	phone.subscribe("a/alert", 1)
	h.wait(t, "sub phone a/alert")
	daemon.published(2, "a/alert", "one", false)
	first := phone.message()
	daemon.published(3, "a/alert", "two", false)
	second := phone.message()
	assert.Equal(t, []string{"sub phone a/alert"}, h.all(), "sent is not acknowledged")
	phone.acknowledge(second)
	h.wait(t, "ack a/alert two")
	phone.acknowledge(first)
	h.wait(t, "ack a/alert one")
	assert.Len(t, h.all(), 3)
}

func TestSubscriberAtQoS0ProvesNothing(t *testing.T) {
	h := newHeard()
	b, _ := serve(t, Options{Acknowledged: h.acknowledged, Subscribed: h.subscribed})
	phone, _ := connect(t, b, "phone", nil)
	phone.subscribe("a/alert", 0)
	daemon, _ := connect(t, b, "daemon", nil)
	daemon.published(1, "a/alert", "one", false)
	assert.Equal(t, byte(0), phone.message().Qos)
	daemon.published(2, "a/alert", "two", false) // the broker has done with the first
	assert.Empty(t, h.all())
}

// The library keeps packets to and from a client under the same numbers.
func TestSubscriberThatPublishesConfirmsNothingByThat(t *testing.T) {
	h := newHeard()
	b, _ := serve(t, Options{Acknowledged: h.acknowledged})
	phone, _ := connect(t, b, "phone", nil)
	phone.subscribe("a/alert", 1)
	daemon, _ := connect(t, b, "daemon", nil)
	daemon.published(9, "a/alert", "one", false)
	alert := phone.message()
	phone.published(alert.MessageID, "a/command", "{}", false) // the same number, the other way
	phone.published(alert.MessageID+1, "a/command", "{}", false)
	assert.Empty(t, h.all())
	phone.acknowledge(alert)
	h.wait(t, "ack a/alert one")
}

// The library sorts what a returning client missed by whole seconds.
func TestReturningSubscriberGetsWhatItMissedInOrder(t *testing.T) {
	h := newHeard()
	b, _ := serve(t, Options{Acknowledged: h.acknowledged, Subscribed: h.subscribed})
	phone, _ := connect(t, b, "phone", keep)
	phone.subscribe("a/alert", 1)
	require.NoError(t, phone.conn.Close())
	daemon, _ := connect(t, b, "daemon", nil)
	const missed = 100
	for i := range missed {
		daemon.published(uint16(i+1), "a/alert", fmt.Sprint(i), false)
	}
	phone, ack := connect(t, b, "phone", keep)
	assert.True(t, ack.SessionPresent)
	for i := range missed {
		p := phone.message()
		require.Equal(t, fmt.Sprint(i), string(p.Payload))
		phone.acknowledge(p)
	}
	h.wait(t, fmt.Sprintf("ack a/alert %d", missed-1))
	subs := 0
	for _, l := range h.all() {
		if l == "sub phone a/alert" {
			subs++
		}
	}
	assert.Equal(t, 2, subs, "its return is told as well")
}

// mochi-mqtt/server issue 444: by default retained messages go after a day by the wall clock, so one step of it wipes them.
func TestRetainedMessagesSurviveAStepOfTheClock(t *testing.T) {
	b, _ := serve(t, Options{})
	daemon, _ := connect(t, b, "daemon", nil)
	daemon.published(1, "a/state", "42", true)
	kept, ok := b.server.Topics.Retained.Get("a/state")
	require.True(t, ok)
	kept.Created -= 10 * 365 * 24 * 3600 // what the clock of an unset machine says
	b.server.Topics.Retained.Add("a/state", kept)
	// The broker clears what has expired each second.
	assert.Never(t, func() bool { _, ok := b.server.Topics.Retained.Get("a/state"); return !ok }, 2500*time.Millisecond, 100*time.Millisecond)
}

func TestPortTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	_, err = Listen(Options{Addr: l.Addr().String()})
	assert.ErrorContains(t, err, "is taken")
	assert.ErrorContains(t, err, "broker under [mqtt]")
}

func TestNobodyElseReachesItWithoutUsers(t *testing.T) {
	for _, addr := range []string{":1883", "0.0.0.0:1883", "[::]:1883", "192.0.2.7:1883", "nonsense", "broker.lan:1883"} {
		_, err := Listen(Options{Addr: addr})
		require.Error(t, err, addr)
	}
	_, err := Listen(Options{Addr: "0.0.0.0:0"})
	assert.ErrorContains(t, err, "set a users_file first")
	b, err := Listen(Options{Addr: "localhost:0"})
	require.NoError(t, err)
	require.NoError(t, b.Close())
}

func TestUsers(t *testing.T) {
	line, err := PasswordLine("phone", "rye")
	require.NoError(t, err)
	users, err := ReadUsers(strings.NewReader("# who may\n\n" + line + "\n"))
	require.NoError(t, err)
	b, _ := serve(t, Options{Users: users})
	for _, tt := range []struct {
		user, password string
		code           byte
	}{
		{"phone", "rye", packets.Accepted}, {"phone", "wheat", packets.ErrRefusedNotAuthorised},
		{"tablet", "rye", packets.ErrRefusedNotAuthorised}, {"", "", packets.ErrRefusedNotAuthorised},
	} {
		_, ack := connect(t, b, "c", func(p *packets.ConnectPacket) {
			p.UsernameFlag, p.PasswordFlag, p.Username, p.Password = tt.user != "", tt.user != "", tt.user, []byte(tt.password)
		})
		assert.Equal(t, tt.code, ack.ReturnCode, "%q %q", tt.user, tt.password)
	}
}

// The format is that of mosquitto's password files: what its tool writes is read.
func TestPasswordFileOfMosquitto(t *testing.T) {
	if _, err := exec.LookPath("mosquitto_passwd"); err != nil {
		t.Skip("needs mosquitto_passwd (apt-get install mosquitto)")
	}
	file := t.TempDir() + "/users"
	out, err := exec.Command("mosquitto_passwd", "-b", "-c", file, "phone", "rye bread").CombinedOutput()
	require.NoError(t, err, "%s", out)
	text, err := exec.Command("cat", file).Output()
	require.NoError(t, err)
	users, err := ReadUsers(strings.NewReader(string(text)))
	require.NoError(t, err)
	assert.True(t, users.admit("phone", []byte("rye bread")))
	assert.False(t, users.admit("phone", []byte("rye bread ")))
}

func TestPasswordFileErrors(t *testing.T) {
	good, err := PasswordLine("phone", "rye")
	require.NoError(t, err)
	for name, text := range map[string]string{
		"plain text":        "phone:rye",
		"no colon":          "phone",
		"no name":           good[len("phone"):],
		"another digest":    "phone:$6$abc$def",
		"no iterations":     "phone:$7$0$AAAA$AAAA",
		"endless":           "phone:$7$2000000000$AAAA$AAAA",
		"short digest":      "phone:$7$101$AAAA$AAAA",
		"not base64":        "phone:$7$101$!$!",
		"second line":       good + "\nphone",
		"truncated by half": good[:len(good)/2],
	} {
		_, err := ReadUsers(strings.NewReader(text))
		assert.ErrorContains(t, err, "mosquitto_passwd", name)
	}
	_, err = PasswordLine("a:b", "x")
	assert.Error(t, err)
}

func FuzzReadUsers(f *testing.F) {
	good, _ := PasswordLine("phone", "rye")
	f.Add(good)
	f.Add("phone:$7$101$AAAA$AAAA\n#\n")
	f.Fuzz(func(t *testing.T, text string) {
		users, err := ReadUsers(strings.NewReader(text))
		for name, d := range users {
			assert.NoError(t, err)
			assert.NotEmpty(t, name)
			assert.Len(t, d.key, 64)
		}
	})
}

func TestClientsSessionsPacketsAndTopicsAreBounded(t *testing.T) {
	b, _ := serve(t, Options{})
	for i := range maxSessions + 20 { // clients that come once and never return
		m, ack := connect(t, b, fmt.Sprintf("passer-%d", i), keep)
		require.Equal(t, byte(packets.Accepted), ack.ReturnCode)
		m.write(packets.NewControlPacket(packets.Disconnect))
		require.Eventually(t, func() bool {
			cl, ok := b.server.Clients.Get(fmt.Sprintf("passer-%d", i))
			return ok && cl.Closed()
		}, 5*time.Second, time.Millisecond)
	}
	assert.LessOrEqual(t, b.server.Clients.Len(), maxSessions+1)

	daemon, _ := connect(t, b, "daemon", nil)
	for i := range maxRetained + 50 {
		daemon.published(uint16(i+1), fmt.Sprintf("t/%d", i), "x", true)
	}
	assert.LessOrEqual(t, b.server.Topics.Retained.Len(), maxRetained)
	daemon.published(1, "t/0", "newer", true) // a known topic
	kept, _ := b.server.Topics.Retained.Get("t/0")
	assert.Equal(t, "newer", string(kept.Payload))

	big := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	big.MessageID, big.Qos, big.TopicName, big.Payload = 2, 1, "big", make([]byte, 1<<20)
	_ = big.Write(daemon.conn) // the broker hangs up before it is through
	require.NoError(t, daemon.conn.SetReadDeadline(time.Now().Add(10*time.Second)))
	_, err := packets.ReadPacket(daemon.conn)
	assert.Error(t, err, "a megabyte ends the connection")

	var open []*mind
	for i := range 16 {
		m, ack := connect(t, b, fmt.Sprintf("open-%d", i), nil)
		require.Equal(t, byte(packets.Accepted), ack.ReturnCode)
		open = append(open, m)
	}
	_, ack := connect(t, b, "one too many", nil)
	assert.Equal(t, byte(packets.ErrRefusedServerUnavailable), ack.ReturnCode)
	assert.Len(t, open, 16)
	assert.Equal(t, int64(16), b.Stats().Clients)
}

// What was promised to a slow subscriber is forgotten with its session, not kept for ever.
func TestFlightsOfASubscriberWithoutASessionAreForgotten(t *testing.T) {
	h := newHeard()
	b, stop := serve(t, Options{Acknowledged: h.acknowledged})
	phone, _ := connect(t, b, "phone", nil)
	phone.subscribe("a/alert", 1)
	daemon, _ := connect(t, b, "daemon", nil)
	for i := range 50 {
		daemon.published(uint16(i+1), "a/alert", fmt.Sprint(i), false)
	}
	phone.message()
	require.NoError(t, phone.conn.Close())
	door := b.door
	require.Eventually(t, func() bool {
		door.mu.Lock()
		defer door.mu.Unlock()
		return len(door.inFlight) == 0
	}, 5*time.Second, time.Millisecond)
	stop()
	assert.Empty(t, h.all())
}

func TestMosquittoSubIsServed(t *testing.T) {
	if _, err := exec.LookPath("mosquitto_sub"); err != nil {
		t.Skip("needs mosquitto_sub (apt-get install mosquitto-clients)")
	}
	h := newHeard()
	b, _ := serve(t, Options{Acknowledged: h.acknowledged, Subscribed: h.subscribed})
	host, port, _ := net.SplitHostPort(b.Addr())
	cmd := exec.Command("mosquitto_sub", "-h", host, "-p", port, "-q", "1", "-C", "1", "-W", "10", "-i", "phone", "-t", "nightjar/+/+/alert")
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	h.wait(t, "sub phone nightjar/+/+/alert")
	daemon, _ := connect(t, b, "daemon", nil)
	daemon.published(1, "nightjar/attic/main/alert", `{"id":"attic-5f0c11de-1"}`, false)
	var got struct{ ID string }
	require.NoError(t, json.NewDecoder(out).Decode(&got))
	require.NoError(t, cmd.Wait())
	assert.Equal(t, "attic-5f0c11de-1", got.ID)
	h.wait(t, `ack nightjar/attic/main/alert {"id":"attic-5f0c11de-1"}`)
}
