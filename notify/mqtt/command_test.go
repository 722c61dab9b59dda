package mqtt

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// keeper takes commands and answers "done" with their count.
type keeper struct {
	mu   sync.Mutex
	took []string
}

func (k *keeper) Command(_ context.Context, station string, payload []byte) []byte {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.took = append(k.took, station+" "+string(payload))
	return fmt.Appendf(nil, `{"done":%d}`, len(k.took))
}

func (k *keeper) all() []string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return slices.Clone(k.took)
}

func commanded(t *testing.T, change func(*Client)) (s *stub, k *keeper, c *Client) {
	s, k = newStub(t), &keeper{}
	c, _ = newClient(t, s.addr, func(o *Options) { o.Command = k.Command })
	if change != nil {
		change(c)
	}
	run(t, c)
	require.Eventually(t, func() bool { return c.Status().Connected }, 5*time.Second, time.Millisecond)
	return s, k, c
}

const replies = "nightjar/attic/main/reply"

// last is the newest refusal.
func last(t *testing.T, s *stub) (r refusal) {
	ps := s.payloads(replies)
	require.NotEmpty(t, ps)
	require.NoError(t, json.Unmarshal([]byte(ps[len(ps)-1]), &r))
	return r
}

func TestCommandIsDoneAndAnswered(t *testing.T) {
	s, k, _ := commanded(t, nil)
	s.send("nightjar/attic/main/command", []byte(`{"id":"p1","kind":"end"}`), false)
	s.waitFor("reply", func() bool { return len(s.payloads(replies)) == 1 })
	assert.Equal(t, []string{`main {"id":"p1","kind":"end"}`}, k.all())
	assert.Equal(t, []string{`{"done":1}`}, s.payloads(replies))
}

func TestCommandsKeepTheirOrder(t *testing.T) {
	s, k, _ := commanded(t, nil)
	for i := range 15 { // fewer than a burst
		s.send("nightjar/attic/main/command", fmt.Appendf(nil, "%d", i), false)
	}
	s.waitFor("replies", func() bool { return len(s.payloads(replies)) == 15 })
	for i, got := range k.all() {
		assert.Equal(t, fmt.Sprintf("main %d", i), got)
	}
}

func TestCommandOfAMegabyteIsRefusedWithAReply(t *testing.T) {
	s, k, c := commanded(t, nil)
	s.send("nightjar/attic/main/command", bytes.Repeat([]byte("{"), 1<<20), false)
	s.waitFor("reply", func() bool { return len(s.payloads(replies)) == 1 })
	assert.Contains(t, last(t, s).Error, "1048576 bytes; the limit is 16384")
	assert.Empty(t, k.all())
	s.send("nightjar/attic/main/command", []byte("{}"), false)
	s.waitFor("the next command", func() bool { return len(s.payloads(replies)) == 2 })
	assert.Len(t, k.all(), 1)
	assert.Equal(t, Stats{Connections: 1, Taken: 1, Refused: 1}, c.Stats())
}

func TestRetainedCommandIsRefused(t *testing.T) {
	s, k, _ := commanded(t, nil)
	s.send("nightjar/attic/main/command", []byte(`{"id":"p9","kind":"end"}`), true)
	s.waitFor("reply", func() bool { return len(s.payloads(replies)) == 1 })
	r := last(t, s)
	assert.Contains(t, r.Error, "retained")
	assert.Equal(t, "p9", r.ID)
	assert.Empty(t, k.all())
}

func TestFloodOfCommandsIsRefusedWithFewReplies(t *testing.T) {
	s, k, _ := commanded(t, func(c *Client) { c.waits.refusals, c.waits.commandInterval = 50*time.Millisecond, time.Hour })
	const flood = 2000
	for i := range flood {
		s.send("nightjar/attic/main/command", fmt.Appendf(nil, `{"id":"f%d"}`, i), false)
	}
	refused := func() (n int) {
		for _, p := range s.payloads(replies) {
			var r refusal
			require.NoError(t, json.Unmarshal([]byte(p), &r))
			n += r.Refused
		}
		return n
	}
	s.waitFor("every refusal", func() bool { return refused() == flood-len(k.all()) })
	assert.Len(t, k.all(), usual.commandBurst)
	assert.Less(t, len(s.payloads(replies)), 100)
	assert.Contains(t, strings.Join(s.payloads(replies), "\n"), "too many commands at once")
}

func TestCommandsForNobody(t *testing.T) {
	s := newStub(t)
	c, _ := newClient(t, s.addr, nil)
	run(t, c)
	require.Eventually(t, func() bool { return c.Status().Connected }, 5*time.Second, time.Millisecond)
	for _, topic := range []string{"nightjar/attic/command", "nightjar/attic//command", "nightjar/attic/a b/command", "x"} {
		s.send(topic, []byte("{}"), false) // not even refused: there is no station to answer at
	}
	s.send("nightjar/attic/main/command", []byte("{}"), false)
	s.waitFor("reply", func() bool { return len(s.payloads(replies)) == 1 })
	assert.Contains(t, last(t, s).Error, "takes no commands")
	assert.Equal(t, 1, last(t, s).Refused)
}

func TestRefusalsOfManyStationsAreBounded(t *testing.T) {
	c, err := New(Options{URL: "mqtt://broker.lan", Device: "attic"})
	require.NoError(t, err)
	for i := range 1000 {
		c.intake.take(command{fmt.Sprintf("s%d", i), []byte("{}")}, false)
	}
	assert.Len(t, c.intake.refusals(), refusedStations)
}

func FuzzArrived(f *testing.F) {
	f.Add("nightjar/attic/main/command", []byte(`{"id":"p1","kind":"ack"}`), false)
	f.Add("nightjar/attic/availability", []byte("offline"), true)
	f.Add("nightjar/attic/main/alert", []byte(`{"id":"attic-5f0c11de-1"}`), false)
	c, err := New(Options{URL: "mqtt://broker.lan", Device: "attic"})
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		c.arrived(nil, message{topic: topic, payload: payload, retained: retained})
		c.Acknowledged(topic, payload)
		c.Subscribed("phone", topic)
		for station, r := range c.intake.refusals() {
			assert.NoError(t, CheckName("station", station))
			_, err := json.Marshal(r)
			assert.NoError(t, err)
		}
	})
}

// message is a message as the library hands it over.
type message struct {
	paho.Message
	topic    string
	payload  []byte
	retained bool
}

func (m message) Topic() string   { return m.topic }
func (m message) Payload() []byte { return m.payload }
func (m message) Retained() bool  { return m.retained }
