package mqtt

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"nightjar/notify/notifytest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mosquitto is a real broker on the loopback interface.
type mosquitto struct {
	t    *testing.T
	conf string
	addr string
	host string
	port string
	cmd  *exec.Cmd
}

// newMosquitto starts one with these lines of configuration besides its port.
func newMosquitto(t *testing.T, lines ...string) *mosquitto {
	if _, err := exec.LookPath("/usr/sbin/mosquitto"); err != nil {
		t.Skip("needs mosquitto 2 (apt-get install mosquitto mosquitto-clients)")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	m := &mosquitto{t: t, addr: l.Addr().String(), conf: filepath.Join(t.TempDir(), "mosquitto.conf")}
	m.host, m.port, _ = net.SplitHostPort(m.addr)
	require.NoError(t, l.Close())
	if len(lines) == 0 {
		lines = []string{"allow_anonymous true"}
	}
	if os.Getuid() == 0 {
		lines = append(lines, "user root") // it would drop to a user who cannot read the test's files
	}
	conf := fmt.Sprintf("listener %s %s\n%s\n", m.port, m.host, strings.Join(lines, "\n"))
	require.NoError(t, os.WriteFile(m.conf, []byte(conf), 0o600))
	m.start()
	t.Cleanup(m.kill)
	return m
}

func (m *mosquitto) start() {
	m.t.Helper()
	var out bytes.Buffer
	m.cmd = exec.Command("/usr/sbin/mosquitto", "-c", m.conf)
	m.cmd.Stdout, m.cmd.Stderr = &out, &out
	require.NoError(m.t, m.cmd.Start())
	require.Eventually(m.t, func() bool {
		c, err := net.Dial("tcp", m.addr)
		if err != nil {
			return false
		}
		return c.Close() == nil
	}, 10*time.Second, 5*time.Millisecond, "mosquitto does not listen")
}

// kill ends it as a power cut would.
func (m *mosquitto) kill() {
	_ = m.cmd.Process.Kill() // it may have ended
	_ = m.cmd.Wait()
}

// sub subscribes with mosquitto_sub and returns its lines "retained qos topic payload" once n have come.
func (m *mosquitto) sub(n int, args ...string) func() []string {
	m.t.Helper()
	args = append([]string{"-h", m.host, "-p", m.port, "-q", "1", "-C", fmt.Sprint(n), "-W", "20", "-F", "%r %q %t %p"}, args...)
	cmd := exec.Command("mosquitto_sub", args...)
	var out, trouble bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &trouble
	require.NoError(m.t, cmd.Start())
	return func() []string {
		m.t.Helper()
		require.NoError(m.t, cmd.Wait(), "got so far:\n%s%s", &out, &trouble)
		return strings.Split(strings.TrimSpace(out.String()), "\n")
	}
}

// pub publishes with mosquitto_pub.
func (m *mosquitto) pub(topic, payload string, args ...string) {
	m.t.Helper()
	args = append([]string{"-h", m.host, "-p", m.port, "-q", "1", "-t", topic, "-m", payload}, args...)
	out, err := exec.Command("mosquitto_pub", args...).CombinedOutput()
	require.NoError(m.t, err, "%s", out)
}

func connected(t *testing.T, c *Client) {
	t.Helper()
	require.Eventually(t, func() bool { return c.Status().Connected }, 10*time.Second, time.Millisecond, "%+v", c.Status())
}

// What a subscriber sees is an interface to others: these lines are fixed.
func TestMosquittoGetsWhatIsWrittenDown(t *testing.T) {
	m := newMosquitto(t)
	var o notifytest.Outbox
	issue(t, &o, 1)
	c, _ := newClient(t, m.addr, func(op *Options) { op.Outbox = &o })
	c.State("main", []byte(`{"multiple":1.85}`))
	stop := run(t, c)
	require.True(t, o.Wait("mqtt", 10*time.Second))
	stop()
	got := m.sub(2, "-t", "nightjar/#")()
	slices.Sort(got)
	assert.Equal(t, []string{
		"1 1 nightjar/attic/availability offline",
		`1 1 nightjar/attic/main/state {"multiple":1.85}`,
	}, got)
}

// child is a client in a process of its own, which is killed.
func child(addr string) {
	c, err := New(Options{URL: "mqtt://" + addr, Device: "attic"})
	if err != nil {
		panic(err)
	}
	_ = c.Run(context.Background())
}

func TestWillAfterKill(t *testing.T) {
	m := newMosquitto(t)
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "NIGHTJAR_TEST_BROKER="+m.addr)
	require.NoError(t, cmd.Start())
	assert.Equal(t, []string{"1 1 nightjar/attic/availability online"}, m.until("nightjar/attic/availability", "online"))
	require.NoError(t, cmd.Process.Signal(syscall.SIGKILL))
	_ = cmd.Wait() // killed
	assert.Equal(t, []string{"1 1 nightjar/attic/availability offline"}, m.until("nightjar/attic/availability", "offline"))
}

// until reads the retained message of a topic until it is payload.
func (m *mosquitto) until(topic, payload string) (lines []string) {
	m.t.Helper()
	require.Eventually(m.t, func() bool {
		out, _ := exec.Command("mosquitto_sub", "-h", m.host, "-p", m.port, "-q", "1", "-C", "1", "-W", "1", "--retained-only", "-F", "%r %q %t %p", "-t", topic).Output()
		lines = strings.Split(strings.TrimSpace(string(out)), "\n")
		return strings.HasSuffix(lines[0], " "+payload)
	}, 10*time.Second, 10*time.Millisecond)
	return lines
}

func TestMosquittoKilledAndWipedGetsEverythingAgain(t *testing.T) {
	m := newMosquitto(t)
	var o notifytest.Outbox
	c, _ := newClient(t, m.addr, func(op *Options) { op.Outbox = &o })
	c.State("main", []byte("1"))
	run(t, c)
	connected(t, c)
	m.kill()
	require.Eventually(t, func() bool { return !c.Status().Connected }, 10*time.Second, time.Millisecond)
	issue(t, &o, 3)
	c.Kick()
	m.start()
	began := time.Now()
	require.True(t, o.Wait("mqtt", 10*time.Second))
	assert.Less(t, time.Since(began), 5*time.Second)
	got := m.sub(2, "-t", "nightjar/#")()
	slices.Sort(got)
	assert.Equal(t, []string{"1 1 nightjar/attic/availability online", "1 1 nightjar/attic/main/state 1"}, got)
}

func TestCommandSentWhileTheDeviceWasAwayIsDone(t *testing.T) {
	m := newMosquitto(t)
	k := &keeper{}
	c, _ := newClient(t, m.addr, func(o *Options) { o.Command = k.Command })
	stop := run(t, c)
	connected(t, c)
	stop()
	m.pub("nightjar/attic/main/command", `{"id":"p1","kind":"ack"}`)
	c, _ = newClient(t, m.addr, func(o *Options) { o.Command = k.Command })
	run(t, c)
	require.Eventually(t, func() bool { return len(k.all()) == 1 }, 10*time.Second, time.Millisecond)
	assert.Equal(t, []string{`main {"id":"p1","kind":"ack"}`}, k.all())
}

func TestMosquittoUsers(t *testing.T) {
	if _, err := exec.LookPath("mosquitto_passwd"); err != nil {
		t.Skip("needs mosquitto_passwd")
	}
	users := filepath.Join(t.TempDir(), "users")
	out, err := exec.Command("mosquitto_passwd", "-b", "-c", users, "attic", "rye").CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.NoError(t, os.Chmod(users, 0o644))
	m := newMosquitto(t, "allow_anonymous false", "password_file "+users)

	c, _ := newClient(t, m.addr, func(o *Options) { o.User, o.Password = "attic", "wheat" })
	stop := run(t, c)
	require.Eventually(t, func() bool { return strings.Contains(c.Status().Trouble, `refuses the user "attic"`) }, 10*time.Second, time.Millisecond)
	stop()
	c, _ = newClient(t, m.addr, nil)
	stop = run(t, c)
	require.Eventually(t, func() bool { return strings.Contains(c.Status().Trouble, "refuses a client without a user") }, 10*time.Second, time.Millisecond)
	stop()
	c, _ = newClient(t, m.addr, func(o *Options) { o.User, o.Password = "attic", "rye" })
	run(t, c)
	connected(t, c)
}

func TestMosquittoAcknowledgesAnAlertWithin20ms(t *testing.T) {
	m := newMosquitto(t)
	var o notifytest.Outbox
	c, _ := newClient(t, m.addr, func(op *Options) { op.Outbox = &o })
	run(t, c)
	connected(t, c)
	var took []time.Duration
	for i := range 101 {
		require.NoError(t, o.Issue(notifytest.Alert("main", i)))
		began := time.Now()
		c.Kick()
		require.True(t, o.Wait("mqtt", 5*time.Second))
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	t.Logf("from kick to PUBACK: median %v, 99 %% %v", took[50], took[99])
	assert.LessOrEqual(t, took[50], 20*time.Millisecond)
}

// A subscriber that keeps its session gets each alert, in order.
func TestMosquittoSubscriberGetsAlertsInOrder(t *testing.T) {
	m := newMosquitto(t)
	var o notifytest.Outbox
	ids := issue(t, &o, 50)
	// Subscribe, leave, and read what the broker kept.
	out, err := exec.Command("mosquitto_sub", "-h", m.host, "-p", m.port, "-q", "1", "-c", "-i", "phone", "-t", "nightjar/+/+/alert", "-E").CombinedOutput()
	require.NoError(t, err, "%s", out)
	c, _ := newClient(t, m.addr, func(op *Options) { op.Outbox = &o })
	run(t, c)
	require.True(t, o.Wait("mqtt", 10*time.Second))
	var got []string
	for _, line := range m.sub(50, "-c", "-i", "phone", "-t", "nightjar/+/+/alert")() {
		fields := strings.SplitN(line, " ", 4)
		require.Len(t, fields, 4, line)
		assert.Equal(t, []string{"0", "1", "nightjar/attic/main/alert"}, fields[:3])
		var msg struct{ ID string }
		require.NoError(t, json.Unmarshal([]byte(fields[3]), &msg))
		got = append(got, msg.ID)
	}
	assert.Equal(t, ids, got)
}

// blakeblackshear/frigate issue 3280: two daemons with one name throw each other out in turns. It is told, and each
// alert keeps its id and arrives.
func TestTwoDaemonsWithOneNameAreNoticed(t *testing.T) {
	m := newMosquitto(t)
	var o notifytest.Outbox
	first, log := newClient(t, m.addr, func(op *Options) { op.Outbox = &o })
	second, log2 := newClient(t, m.addr, nil)
	first.waits.lastRetry, second.waits.lastRetry = 5*time.Millisecond, 5*time.Millisecond
	run(t, first)
	run(t, second)
	require.Eventually(t, func() bool {
		return strings.Contains(log.String()+log2.String(), "another client uses the id nightjar-attic")
	}, 10*time.Second, time.Millisecond)
	ids := issue(t, &o, 3)
	first.Kick()
	require.True(t, o.Wait("mqtt", 20*time.Second))
	for _, id := range ids {
		assert.Less(t, o.Delivery("mqtt", id).Attempts, 20, "no storm")
	}
	assert.LessOrEqual(t, strings.Count(log.String(), "another client"), 2)
}
