package daemon_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/client"
	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/daemon"
	"nightjar/cmd/internal/machine"
	"nightjar/cmd/internal/watch"
	"nightjar/rise"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"
	"nightjar/store"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const limit = 10 * time.Second

// house is a daemon under test: a simulated chip that looks at a card, the real clock for everything else.
type house struct {
	t      *testing.T
	o      daemon.Options
	log    *lines
	up     daemon.Up
	stop   context.CancelFunc
	result chan error
}

// lines is a log that can be asked.
type lines struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(b)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}

func newHouse(t *testing.T) *house {
	h := &house{t: t, log: &lines{}, result: make(chan error, 1)}
	clock := sim.NewClock(time.Now(), time.Hour)
	clock.Pace(300) // a tick each tenth of a second
	bus := sim.NewBus("I2C1")
	bus.Attach(sim.NewVL53L4CD(clock, sim.Card(110), sim.ChipOpts{Seed: 1}))
	ranger, err := vl53l4cd.New(bus, vl53l4cd.DefaultAddr, &vl53l4cd.Opts{Clock: clock})
	require.NoError(t, err)
	cfg := config.Default()
	cfg.MQTT.Listen = "127.0.0.1:0"
	dir := t.TempDir()
	h.o = daemon.Options{
		Config: cfg, Store: filepath.Join(dir, "nightjar.db"), Socket: filepath.Join(dir, "nightjar.sock"), Version: "test",
		Clock: clock, BootID: "11111111-2222-4333-8444-555555555555", Synced: func() bool { return true },
		Stations: []watch.Station{{Name: "main", Ranger: ranger, Every: 30 * time.Second, Ranges: 20}},
		Log:      slog.New(slog.NewTextHandler(h.log, nil)),
	}
	return h
}

// run runs the daemon until the test ends, or end is called.
func (h *house) run() {
	ctx, stop := context.WithCancel(h.t.Context())
	h.stop = stop
	up := make(chan daemon.Up, 1)
	h.o.Ready = func(u daemon.Up) { up <- u }
	go func() { h.result <- daemon.Run(ctx, h.o) }()
	select {
	case h.up = <-up:
	case err := <-h.result:
		stop()
		h.t.Fatalf("the daemon did not start: %v", err)
	case <-time.After(limit):
		stop()
		h.t.Fatal("the daemon did not start")
	}
	h.t.Cleanup(func() { h.end() })
}

// end stops the daemon and returns how long that took.
func (h *house) end() time.Duration {
	if h.stop == nil {
		return 0
	}
	begin := time.Now()
	h.stop()
	h.stop = nil
	select {
	case err := <-h.result:
		require.NoError(h.t, err, "%s", h.log)
	case <-time.After(limit):
		h.t.Fatal("the daemon does not stop")
	}
	return time.Since(begin)
}

// api is a client of the daemon's socket.
func (h *house) api() *client.Client {
	c, err := client.Open(h.t.Context(), client.Options{Socket: h.o.Socket, Local: func(context.Context) (http.Handler, func() error, error) {
		h.t.Fatal("no daemon answers on the socket")
		return nil, nil, nil
	}})
	require.NoError(h.t, err)
	h.t.Cleanup(func() { c.Close() })
	return c
}

// subscriber is a client of the embedded broker that gathers what it gets.
func (h *house) subscriber(topic string, retained bool) (paho.Client, <-chan paho.Message) {
	got := make(chan paho.Message, 100)
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + h.up.Broker).SetClientID("listener").SetProtocolVersion(4).SetAutoReconnect(false))
	token := c.Connect()
	require.True(h.t, token.WaitTimeout(limit))
	require.NoError(h.t, token.Error())
	h.t.Cleanup(func() { c.Disconnect(50) })
	token = c.Subscribe(topic, 1, func(_ paho.Client, m paho.Message) {
		if m.Retained() == retained || retained {
			got <- m
		}
	})
	require.True(h.t, token.WaitTimeout(limit))
	require.NoError(h.t, token.Error())
	return c, got
}

func next(t *testing.T, got <-chan paho.Message) []byte {
	t.Helper()
	select {
	case m := <-got:
		return m.Payload()
	case <-time.After(limit):
		t.Fatal("nothing came")
		return nil
	}
}

func TestRun_AnswersOnItsSocketAndStopsWithinTwoSeconds(t *testing.T) {
	h := newHouse(t)
	h.run()
	c := h.api()
	var v api.Version
	require.NoError(t, c.Call(t.Context(), api.PathVersion, nil, &v))
	assert.Equal(t, api.Version{Version: "test", Device: "nightjar", Live: true}, v)

	var jar rise.Jar
	require.NoError(t, c.Call(t.Context(), api.PathAddJar, rise.Jar{Name: "tall", FloorMM: 140, UFloorMM: 0.5,
		Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 70}}, &jar))
	var done api.ActionDone
	require.NoError(t, c.Call(t.Context(), api.PathActions, rise.Action{Kind: rise.ActionStart,
		Start: &rise.Run{Kind: rise.RunDough, Jar: "tall", Target: 2}}, &done))
	require.NotNil(t, done.Run)
	assert.Equal(t, 1, done.Run.Number)

	require.Eventually(t, func() bool {
		var s api.Status
		require.NoError(t, c.Call(t.Context(), api.PathStatus, nil, &s))
		l, ok := s.Stations[0].LevelMM.Get()
		return s.Live && ok && l > 25 && l < 35 && *s.Stations[0].Run == 1
	}, limit, 20*time.Millisecond, "the card at 110 mm stands 30 mm above the floor")
	// A limit of the promise, not a measurement: a stop must be over before the supervisor's patience is.
	assert.Less(t, h.end(), 2*time.Second)

	db, err := store.Open(h.o.Store, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer db.Close()
	_, ok, err := db.LastReading("main")
	require.NoError(t, err)
	assert.True(t, ok, "what was gathered was written at the stop")
	assert.NoFileExists(t, h.o.Socket)
}

func TestRun_PublishesStateAndTakesCommandsOverMQTT(t *testing.T) {
	h := newHouse(t)
	h.run()
	_, states := h.subscriber("nightjar/nightjar/main/state", true)
	var s map[string]any
	require.NoError(t, json.Unmarshal(next(t, states), &s))
	for _, key := range []string{"time", "level_mm", "multiple", "multiple_u", "rise_pct", "rate_pct_h", "phase", "eta_p10", "eta_p50", "eta_p90",
		"reason", "dough_multiple", "jar_c", "dough_c", "room_c", "run", "target", "stale", "active"} {
		assert.Contains(t, s, key)
	}
	assert.Nil(t, s["run"])

	c, replies := h.subscriber("nightjar/nightjar/main/reply", false)
	ask := func(command string) (r struct {
		ID, Error, Hint string
		Action          *rise.Action
	}) {
		require.True(t, c.Publish("nightjar/nightjar/main/command", 1, false, command).WaitTimeout(limit))
		require.NoError(t, json.Unmarshal(next(t, replies), &r))
		return r
	}
	r := ask(`{"id":"n1","kind":"note","text":"folded"}`)
	assert.Equal(t, "n1", r.ID)
	assert.Contains(t, r.Error, "no run is open")
	assert.NotEmpty(t, r.Hint)
	assert.Contains(t, ask(`{"id":"n2","kind":`).Error, "one action as JSON")
	assert.Contains(t, ask(`{"id":"n3","kind":"note","station":"other"}`).Error, "was sent to main")
}

func TestRun_APortThatIsTakenIsToldAndWatchingGoesOn(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	h := newHouse(t)
	h.o.Config.MQTT.Listen = taken.Addr().String()
	h.run()
	assert.Empty(t, h.up.Broker)
	require.Eventually(t, func() bool {
		var s api.Status
		require.NoError(t, h.api().Call(t.Context(), api.PathStatus, nil, &s))
		return len(s.Health) == 1 && s.Health[0].Name == "broker" && !s.Stations[0].LastReading.IsZero()
	}, limit, 50*time.Millisecond)
	assert.Contains(t, h.log.String(), "is taken")
}

func TestRun_ABrokerElsewhereThatIsAwayHoldsNothingUp(t *testing.T) {
	nobody, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := nobody.Addr().String()
	require.NoError(t, nobody.Close())
	h := newHouse(t)
	h.o.Config.MQTT.Broker = "mqtt://" + address
	h.run()
	require.Eventually(t, func() bool {
		s, err := h.up.Desk.Status()
		require.NoError(t, err)
		return !s.Stations[0].LastReading.IsZero()
	}, limit, 20*time.Millisecond)
	assert.Less(t, h.end(), 2*time.Second)
}

func TestRun_RefusesAStoreThatAnotherProcessHolds(t *testing.T) {
	h := newHouse(t)
	db, err := store.Open(h.o.Store, store.Options{})
	require.NoError(t, err)
	defer db.Close()
	require.ErrorIs(t, daemon.Run(t.Context(), h.o), store.ErrLocked)
}

func TestRun_RefusesASecretOrACertificateThatCannotBeRead(t *testing.T) {
	for name, breakIt := range map[string]func(*config.MQTT, string){
		"mqtt password_file": func(c *config.MQTT, dir string) {
			c.Broker, c.User, c.PasswordFile = "mqtt://127.0.0.1:1", "u", filepath.Join(dir, "none")
		},
		"mqtt ca_file": func(c *config.MQTT, dir string) { c.CAFile = filepath.Join(dir, "none") },
		"holds no certificate": func(c *config.MQTT, dir string) {
			c.CAFile = filepath.Join(dir, "text")
			require.NoError(t, os.WriteFile(c.CAFile, []byte("not PEM"), 0o600))
		},
	} {
		h := newHouse(t)
		breakIt(&h.o.Config.MQTT, t.TempDir())
		require.ErrorContains(t, daemon.Run(t.Context(), h.o), name)
	}
}

func TestRun_TellsTheSupervisor(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	defer l.Close()
	env := map[string]string{"NOTIFY_SOCKET": path, "WATCHDOG_USEC": strconv.Itoa(300_000)}
	h := newHouse(t)
	h.o.Supervisor = machine.NewSupervisor(func(k string) string { return env[k] })
	h.run()
	said := func() string {
		b := make([]byte, 200)
		require.NoError(t, l.SetReadDeadline(time.Now().Add(limit)))
		n, err := l.Read(b)
		require.NoError(t, err)
		return string(b[:n])
	}
	assert.Equal(t, "READY=1\nSTATUS=watching main", said())
	assert.Equal(t, "WATCHDOG=1", said())
	h.end()
	for s := said(); s != "STOPPING=1"; s = said() {
		require.Equal(t, "WATCHDOG=1", s)
	}
}

func TestRun_ATestIsDeliveredToASubscriberAndAnswered(t *testing.T) {
	h := newHouse(t)
	h.run()
	api1 := h.api()
	_, alerts := h.subscriber("nightjar/nightjar/+/alert", false)
	var d api.Delivery
	require.NoError(t, api1.Call(t.Context(), api.PathTest, nil, &d))
	require.Len(t, d.Routes, 1)
	assert.Equal(t, "mqtt", d.Routes[0].Route)
	var m struct{ ID, Kind string }
	require.NoError(t, json.Unmarshal(next(t, alerts), &m))
	assert.Equal(t, d.Alert.ID, m.ID)
	assert.Equal(t, "test", m.Kind)
	ask := func() api.Delivery {
		var d api.Delivery
		require.NoError(t, api1.Call(t.Context(), api.PathDelivery, nil, &d, m.ID))
		return d
	}
	require.Eventually(t, func() bool { return ask().Routes[0].State == rise.DeliveryDelivered }, limit, 20*time.Millisecond)
	assert.False(t, ask().Acked, "delivered is not answered")
	require.NoError(t, api1.Call(t.Context(), api.PathActions, rise.Action{Kind: rise.ActionAck, Alert: m.ID}, nil))
	assert.True(t, ask().Acked)
	var s api.Status
	require.NoError(t, api1.Call(t.Context(), api.PathStatus, nil, &s))
	assert.True(t, s.CanWake, s.CanWakeWhy)
}

func TestRun_PostsAlertsAndAnnouncesStations(t *testing.T) {
	got := make(chan string, 10)
	service := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, err := io.ReadAll(r.Body)
		assert.NoError(t, err)
		got <- r.Header.Get("Authorization") + " " + string(b)
	}))
	defer service.Close()
	h := newHouse(t)
	token := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(token, []byte("s3cret\n"), 0o600))
	h.o.Config.Pushes = []config.Push{{Name: "phone", URL: service.URL + "/kitchen", Format: "text", TokenFile: token}}
	h.run()
	_, homes := h.subscriber("homeassistant/device/+/config", true)
	var a struct{ Components map[string]any }
	require.NoError(t, json.Unmarshal(next(t, homes), &a))
	assert.Contains(t, a.Components, "ready_at")
	_, err := h.up.Desk.Test()
	require.NoError(t, err)
	select {
	case body := <-got:
		assert.Contains(t, body, "Bearer s3cret ")
		assert.Contains(t, body, "This is a test")
	case <-time.After(limit):
		t.Fatal("nothing was posted")
	}
}

func TestRun_ADamagedStoreIsToldAndWatchingGoesOn(t *testing.T) {
	h := newHouse(t)
	require.NoError(t, os.WriteFile(h.o.Store, bytes.Repeat([]byte("not a store "), 2000), 0o600))
	h.run()
	require.Eventually(t, func() bool {
		s, err := h.up.Desk.Status()
		require.NoError(t, err)
		for _, c := range s.Health {
			if c.Name == "damage" {
				return !s.Stations[0].LastReading.IsZero()
			}
		}
		return false
	}, limit, 50*time.Millisecond, "%s", h.log)
}
