package mqtt

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"nightjar/notify/notifytest"
	"nightjar/rise"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if addr := os.Getenv("NIGHTJAR_TEST_BROKER"); addr != "" {
		child(addr)
		return
	}
	goleak.VerifyTestMain(m)
}

const available = "nightjar/attic/availability"

// logs is a log that tests can read.
type logs struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logs) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logs) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// quick has the waits that a test has patience for. What is to happen at a time-out calls impatient as well.
func quick() waits {
	w := usual
	w.ack, w.ping = 5*time.Second, 5*time.Second
	w.firstRetry, w.lastRetry, w.refusedRetry = 5*time.Millisecond, 40*time.Millisecond, 40*time.Millisecond
	w.refusals = 20 * time.Millisecond
	return w
}

// impatient shortens the client's time-outs, which a busy machine then may run into.
func impatient(c *Client) {
	c.waits.ack, c.waits.write, c.waits.ping = 300*time.Millisecond, 200*time.Millisecond, 300*time.Millisecond
}

func newClient(t *testing.T, addr string, change func(*Options)) (*Client, *logs) {
	l := &logs{}
	o := Options{URL: "mqtt://" + addr, Device: "attic", Logger: slog.New(slog.NewTextHandler(l, &slog.HandlerOptions{Level: slog.LevelDebug}))}
	if change != nil {
		change(&o)
	}
	c, err := New(o)
	require.NoError(t, err)
	c.waits = quick()
	return c, l
}

// run runs the client until the test ends or stop is called.
func run(t *testing.T, c *Client) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- c.Run(ctx) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			select {
			case err := <-done:
				assert.NoError(t, err)
			case <-time.After(5 * time.Second):
				assert.Fail(t, "the client does not stop")
			}
		})
	}
	t.Cleanup(stop)
	return stop
}

// ids lists the ids of the alerts published at a station, in order.
func (s *stub) ids(station string) (ids []string) {
	for _, p := range s.payloads("nightjar/attic/" + station + "/alert") {
		var m struct{ ID string }
		require.NoError(s.t, json.Unmarshal([]byte(p), &m))
		ids = append(ids, m.ID)
	}
	return ids
}

func issue(t *testing.T, o *notifytest.Outbox, n int) (ids []string) {
	for i := range n {
		a := notifytest.Alert("main", i)
		require.NoError(t, o.Issue(a))
		ids = append(ids, a.ID)
	}
	return ids
}

func TestBirthStateAndAlert(t *testing.T) {
	s := newStub(t)
	var o notifytest.Outbox
	issue(t, &o, 1)
	c, _ := newClient(t, s.addr, func(op *Options) { op.Outbox = &o })
	c.State("main", []byte(`{"multiple":1.5}`))
	stop := run(t, c)
	require.True(t, o.Wait("mqtt", 5*time.Second))
	s.waitFor("state", func() bool { return len(s.payloads("nightjar/attic/main/state")) == 1 })
	stop()

	s.mu.Lock()
	defer s.mu.Unlock()
	flags := map[string]bool{}
	for _, p := range s.got {
		assert.Equal(t, byte(1), p.Qos, p.TopicName)
		flags[p.TopicName] = p.Retain
	}
	assert.Equal(t, map[string]bool{
		available: true, "nightjar/attic/main/state": true, "nightjar/attic/main/alert": false,
	}, flags)
}

func TestConnectTellsTheBrokerWhatItMustKnow(t *testing.T) {
	connects := make(chan *packets.ConnectPacket, 1)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	go func() {
		conn, err := l.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		if p, err := packets.ReadPacket(conn); err == nil {
			connects <- p.(*packets.ConnectPacket)
		}
	}()
	c, _ := newClient(t, l.Addr().String(), func(o *Options) { o.User, o.Password = "attic", "rye" })
	run(t, c)
	p := <-connects
	assert.Equal(t, "nightjar-attic", p.ClientIdentifier)
	assert.Equal(t, byte(4), p.ProtocolVersion)
	assert.False(t, p.CleanSession)
	assert.True(t, p.WillFlag && p.WillRetain)
	assert.Equal(t, byte(1), p.WillQos)
	assert.Equal(t, available, p.WillTopic)
	assert.Equal(t, "offline", string(p.WillMessage))
	assert.Equal(t, uint16(30), p.Keepalive)
	assert.Equal(t, "rye", string(p.Password))
}

func TestCleanStopSaysOffline(t *testing.T) {
	s := newStub(t)
	c, _ := newClient(t, s.addr, nil)
	stop := run(t, c)
	s.waitFor("birth", func() bool { return len(s.payloads(available)) == 1 })
	stop()
	assert.Equal(t, []string{"online", "offline"}, s.payloads(available))
}

func TestBrokerAwayAtStart(t *testing.T) {
	s := newStub(t)
	s.stop()
	var o notifytest.Outbox
	ids := issue(t, &o, 8)
	c, log := newClient(t, s.addr, func(op *Options) { op.Outbox = &o })
	run(t, c)
	require.Eventually(t, func() bool {
		return c.Status().Hint == "nothing listens there: start the broker or correct broker under [mqtt]"
	}, 5*time.Second, time.Millisecond)
	assert.False(t, c.Status().Connected)
	for range 100 {
		c.State("main", []byte("never blocks"))
	}
	s.start()
	require.True(t, o.Wait("mqtt", 10*time.Second))
	assert.Equal(t, ids, s.ids("main"), "in order, once each")
	assert.True(t, c.Status().Connected)
	assert.Equal(t, 1, strings.Count(log.String(), "no link to the broker"), "one message an outage: %s", log)
	s.waitFor("state", func() bool { return len(s.payloads("nightjar/attic/main/state")) == 1 })
}

// eclipse-paho/paho.mqtt.golang issue 563: after a reconnect the token of a message that was never acknowledged completes
// without an error.
func TestSwallowedAlertStaysUndelivered(t *testing.T) {
	s := newStub(t)
	s.puback = func(_ int, p *packets.PublishPacket) reaction {
		if strings.HasSuffix(p.TopicName, "/alert") {
			return swallow
		}
		return acknowledge
	}
	var o notifytest.Outbox
	ids := issue(t, &o, 2)
	c, _ := newClient(t, s.addr, func(op *Options) { op.Outbox = &o })
	impatient(c)
	run(t, c)
	s.waitFor("four tries", func() bool { return len(s.ids("main")) >= 4 })
	assert.Equal(t, []string{ids[0], ids[0], ids[0], ids[0]}, s.ids("main")[:4], "the same alert, under the same id")
	assert.Equal(t, rise.DeliveryPending, o.Delivery("mqtt", ids[0]).State)
	assert.GreaterOrEqual(t, s.count(), 4, "a broker that does not acknowledge costs the connection")
}

func TestAlertCutBeforeItsAcknowledgementIsSentAgain(t *testing.T) {
	s := newStub(t)
	cuts := 0
	s.puback = func(_ int, p *packets.PublishPacket) reaction {
		if strings.HasSuffix(p.TopicName, "/alert") && cuts < 3 {
			cuts++
			return cut
		}
		return acknowledge
	}
	var o notifytest.Outbox
	ids := issue(t, &o, 8)
	c, _ := newClient(t, s.addr, func(op *Options) { op.Outbox = &o })
	run(t, c)
	require.True(t, o.Wait("mqtt", 10*time.Second))
	assert.Equal(t, append([]string{ids[0], ids[0], ids[0]}, ids...), s.ids("main"))
	assert.Equal(t, 4, o.Delivery("mqtt", ids[0]).Attempts)
	assert.Equal(t, []string{"online", "online", "online", "online"}, s.payloads(available), "each connection has its birth")
}

// Eight messages queued in an outage arrive as 7, 0, 1 ... from the library's default store.
func TestEightQueuedInAnOutageArriveInOrder(t *testing.T) {
	s := newStub(t)
	var o notifytest.Outbox
	c, _ := newClient(t, s.addr, func(op *Options) { op.Outbox = &o })
	run(t, c)
	s.waitFor("birth", func() bool { return len(s.payloads(available)) == 1 })
	s.stop()
	require.Eventually(t, func() bool { return !c.Status().Connected }, 5*time.Second, time.Millisecond)
	ids := issue(t, &o, 8)
	for i := range 8 {
		c.Kick()
		c.State("main", fmt.Appendf(nil, "%d", i))
	}
	s.start()
	require.True(t, o.Wait("mqtt", 10*time.Second))
	assert.Equal(t, ids, s.ids("main"))
	s.waitFor("state", func() bool { return len(s.payloads("nightjar/attic/main/state")) > 0 })
	assert.Equal(t, []string{"7"}, s.payloads("nightjar/attic/main/state"), "only the newest state is worth sending")
}

// eclipse-paho/paho.mqtt.golang issue 700: a reconnecting loop of one's own fights the library's.
func TestFlappingBrokerSeesOneConnectionAStart(t *testing.T) {
	s := newStub(t)
	c, _ := newClient(t, s.addr, nil)
	run(t, c)
	const restarts = 15
	for i := 1; i <= restarts; i++ {
		s.waitFor("birth", func() bool { return len(s.payloads(available)) == i })
		s.stop()
		require.Eventually(t, func() bool { return !c.Status().Connected }, 5*time.Second, time.Millisecond)
		s.start()
	}
	s.waitFor("last birth", func() bool { return len(s.payloads(available)) == restarts+1 })
	assert.Equal(t, restarts+1, s.count())
}

// blakeblackshear/frigate issue 3280, mqttjs/MQTT.js issue 1585: two clients with one id throw each other out for ever.
func TestSecondClientWithTheSameIDIsNoticed(t *testing.T) {
	s := newStub(t)
	s.puback = func(int, *packets.PublishPacket) reaction { return cut } // as a broker does that lets the other one in
	c, log := newClient(t, s.addr, nil)
	run(t, c)
	require.Eventually(t, func() bool { return strings.Contains(c.Status().Trouble, "another client uses the id nightjar-attic") }, 10*time.Second, time.Millisecond)
	assert.Contains(t, c.Status().Hint, "[device]")
	s.waitFor("more connections", func() bool { return s.count() > 8 })
	assert.Equal(t, 1, strings.Count(log.String(), "another client"), "told once")
}

func TestWrongPassword(t *testing.T) {
	s := newStub(t)
	s.refuse = packets.ErrRefusedBadUsernameOrPassword
	c, log := newClient(t, s.addr, func(o *Options) { o.User, o.Password = "attic", "wrong-secret" })
	run(t, c)
	s.waitFor("two tries", func() bool { return s.count() >= 2 })
	assert.Contains(t, c.Status().Trouble, `refuses the user "attic" or the password`)
	assert.Contains(t, c.Status().Hint, "password_file")
	assert.NotContains(t, log.String(), "wrong-secret")
}

func TestBrokerThatAcceptsAndNeverAnswers(t *testing.T) {
	s := newStub(t)
	s.connack = func(n int) bool { return n > 1 }
	c, _ := newClient(t, s.addr, nil)
	c.waits.connect = 100 * time.Millisecond
	run(t, c)
	s.waitFor("birth", func() bool { return len(s.payloads(available)) == 1 })
	assert.Equal(t, 2, s.count())
}

func TestStopWhileTheBrokerNeverAnswers(t *testing.T) {
	s := newStub(t)
	s.connack = func(int) bool { return false }
	c, _ := newClient(t, s.addr, nil)
	stop := run(t, c)
	s.waitFor("connect", func() bool { return s.count() == 1 })
	began := time.Now()
	stop()
	assert.Less(t, time.Since(began), 2*time.Second)
}

// A peer that has stopped reading: the library blocks in Publish until its time-out, which nobody else may feel.
func TestHalfOpenLinkBlocksNobody(t *testing.T) {
	s := newStub(t)
	s.puback = func(_ int, p *packets.PublishPacket) reaction {
		if p.TopicName != available {
			return swallow
		}
		return acknowledge
	}
	var o notifytest.Outbox
	c, _ := newClient(t, s.addr, func(op *Options) { op.Outbox = &o })
	impatient(c)
	stop := run(t, c)
	s.waitFor("birth", func() bool { return len(s.payloads(available)) >= 1 })
	issue(t, &o, 1)
	big := bytes.Repeat([]byte("x"), 8<<20) // more than the sockets hold
	began := time.Now()
	c.State("main", big)
	for i := range 1000 {
		c.State(fmt.Sprintf("s%d", i%3), big[:i])
		c.Kick()
	}
	assert.Less(t, time.Since(began), time.Second) // one blocked publish alone takes 200 ms
	s.waitFor("a second connection", func() bool { return s.count() >= 2 })
	began = time.Now()
	stop()
	assert.Less(t, time.Since(began), 2*time.Second)
}

func TestLateWillIsAnswered(t *testing.T) {
	s := newStub(t)
	c, _ := newClient(t, s.addr, nil)
	run(t, c)
	s.waitFor("birth", func() bool { return len(s.payloads(available)) == 1 })
	require.Eventually(t, func() bool { return c.Status().Connected }, 5*time.Second, time.Millisecond)
	s.send(available, []byte("offline"), false)
	s.waitFor("second birth", func() bool { return len(s.payloads(available)) == 2 })
	assert.Equal(t, []string{"online", "online"}, s.payloads(available))
}

// home-assistant/core issue 88788: what was announced before the other side restarted is unknown to it.
func TestAnnounceHasEverythingPublishedAgain(t *testing.T) {
	s := newStub(t)
	c, _ := newClient(t, s.addr, func(o *Options) { o.Announce = "home/status" })
	c.State("main", []byte("1"))
	c.Retain("home/device/attic/config", []byte("{}"))
	run(t, c)
	all := func(n int) func() bool {
		return func() bool {
			return len(s.payloads(available)) == n && len(s.payloads("nightjar/attic/main/state")) == n && len(s.payloads("home/device/attic/config")) == n
		}
	}
	s.waitFor("birth", all(1))
	require.Eventually(t, func() bool { return c.Status().Connected }, 5*time.Second, time.Millisecond)
	s.send("home/status", []byte("online"), false)
	s.waitFor("second birth", all(2))
	s.send("home/status", []byte("offline"), false)
	c.Retain("home/device/attic/config", nil) // the broker is to forget it
	s.waitFor("removal", func() bool { return len(s.payloads("home/device/attic/config")) == 3 })
	assert.Empty(t, s.payloads("home/device/attic/config")[2])
	assert.Len(t, s.payloads(available), 2)
}

func TestUnprovenAlertIsDeliveredByItsReceiver(t *testing.T) {
	s := newStub(t)
	var o notifytest.Outbox
	ids := issue(t, &o, 2)
	c, _ := newClient(t, s.addr, func(op *Options) { op.Outbox, op.Unproven = &o, true })
	run(t, c)
	s.waitFor("both alerts", func() bool { return len(s.ids("main")) == 2 })
	assert.Equal(t, rise.DeliveryPending, o.Delivery("mqtt", ids[0]).State, "the broker's word proves nothing")

	c.Subscribed("nightjar-attic", "nightjar/attic/+/alert") // itself
	c.Subscribed("phone", "nightjar/attic/+/state")
	c.Subscribed("phone", "nightjar/+/+/alert")
	s.waitFor("both alerts again", func() bool { return len(s.ids("main")) == 4 })
	assert.Equal(t, append(append([]string{}, ids...), ids...), s.ids("main"))
	c.Acknowledged("nightjar/attic/main/state", []byte(`{"id":"`+ids[0]+`"}`))
	c.Acknowledged("nightjar/attic/main/alert", []byte("not JSON"))
	c.Acknowledged("nightjar/attic/main/alert", []byte(s.payloads("nightjar/attic/main/alert")[1]))
	c.Confirm(ids[0])
	require.True(t, o.Wait("mqtt", 5*time.Second))
	assert.Equal(t, 2, o.Delivery("mqtt", ids[1]).Attempts)
}

func TestOptionsAreRefusedWithTheRemedy(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Options)
		want   string
	}{
		{"no scheme", func(o *Options) { o.URL = "broker.lan:1883" }, "mqtt://host"},
		{"web scheme", func(o *Options) { o.URL = "http://broker.lan" }, `"http" is not known`},
		{"no host", func(o *Options) { o.URL = "mqtt://:1883" }, "names no host"},
		{"password in the address", func(o *Options) { o.URL = "mqtt://u:p@broker.lan" }, "do not belong"},
		{"path", func(o *Options) { o.URL = "mqtt://broker.lan/x" }, "only scheme, host and port"},
		{"unreadable", func(o *Options) { o.URL = "mqtt://%zz" }, "cannot be read"},
		{"wildcard in the device", func(o *Options) { o.Device = "attic/+" }, `device name "attic/+"`},
		{"space in the device", func(o *Options) { o.Device = "the attic" }, "digits, _ and -"},
		{"no device", func(o *Options) { o.Device = "" }, "1 to 64"},
		{"password without user", func(o *Options) { o.Password = "rye" }, "without a user"},
		{"keepalive of a second", func(o *Options) { o.KeepAlive = time.Second }, "use 10s to 10m"}, // eclipse-paho/paho.mqtt.golang issue 132
		{"keepalive of an hour", func(o *Options) { o.KeepAlive = time.Hour }, "use 10s to 10m"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			o := Options{URL: "mqtt://broker.lan", Device: "attic"}
			tt.change(&o)
			_, err := New(o)
			assert.ErrorContains(t, err, tt.want)
		})
	}
	for url, addr := range map[string]string{
		"mqtt://broker.lan": "broker.lan:1883", "mqtts://broker.lan": "broker.lan:8883", "tcp://10.0.0.2:99": "10.0.0.2:99", "mqtts://[fd00::1]": "[fd00::1]:8883",
	} {
		b, err := parseURL(url)
		require.NoError(t, err)
		assert.Equal(t, addr, b.addr)
	}
}

// A day's outage at three stations costs no more memory than its beginning.
func TestMemoryIsFlatOverADayOfOutage(t *testing.T) {
	s := newStub(t)
	s.stop()
	var o notifytest.Outbox
	issue(t, &o, 100)
	c, _ := newClient(t, s.addr, func(op *Options) { op.Outbox, op.Logger = &o, nil })
	run(t, c)
	hour := func() {
		for tick := range 120 { // every 30 s
			for station := range 3 {
				c.State(fmt.Sprintf("s%d", station), fmt.Appendf(nil, `{"tick":%d,"padding":"%0400d"}`, tick, tick))
			}
			c.Kick()
		}
	}
	heap := func() int {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int(m.HeapAlloc)
	}
	hour()
	before := heap()
	for range 23 {
		hour()
	}
	grown := heap() - before
	t.Logf("grown by %d kB", grown/1024)
	assert.Less(t, grown, 512<<10) // 23 hours of states alone would be 3.5 MB
}
