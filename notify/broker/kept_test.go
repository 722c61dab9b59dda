package broker

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRetainedMessagesOfOthersSurviveARestart(t *testing.T) {
	o := Options{Keep: filepath.Join(t.TempDir(), "retained.json"), Own: "nightjar/attic/"}
	b, stop := serve(t, o)
	m, _ := connect(t, b, "m", nil)
	m.published(1, "kitchen/light", "on", true)
	m.published(2, "kitchen/door", "open", true)
	m.published(3, "kitchen/door", "", true)
	m.published(4, "nightjar/attic/main/state", "{}", true)
	m.published(5, "kitchen/bell", "not retained", false)
	stop()

	text, err := os.ReadFile(o.Keep)
	require.NoError(t, err)
	assert.NotContains(t, string(text), "nightjar/attic", "the daemon's own would cost a write each tick")
	b, stop = serve(t, o)
	m, _ = connect(t, b, "m", nil)
	m.subscribe("kitchen/#", 1)
	p := m.message()
	assert.Equal(t, "kitchen/light", p.TopicName)
	assert.Equal(t, "on", string(p.Payload))
	assert.True(t, p.Retain)
	assert.Equal(t, 1, b.server.Topics.Retained.Len()-len(sys(b)), "no more than that")
	stop()
}

func sys(b *Broker) (topics []string) {
	for topic := range b.server.Topics.Retained.GetAll() {
		if topic[0] == '$' {
			topics = append(topics, topic)
		}
	}
	return topics
}

func TestDamagedFileIsPutAside(t *testing.T) {
	for name, text := range map[string]string{"empty": "", "half": `{"kitchen/light":{"payl`} {
		t.Run(name, func(t *testing.T) {
			o := Options{Keep: filepath.Join(t.TempDir(), "retained.json")}
			require.NoError(t, os.WriteFile(o.Keep, []byte(text), 0o600))
			b, stop := serve(t, o)
			m, _ := connect(t, b, "m", nil)
			m.published(1, "kitchen/light", "on", true)
			stop()
			aside, err := os.ReadFile(o.Keep + ".damaged")
			require.NoError(t, err)
			assert.Equal(t, text, string(aside))
			now, err := os.ReadFile(o.Keep)
			require.NoError(t, err)
			assert.Contains(t, string(now), "kitchen/light")
		})
	}
}

// A subscriber that was away while the daemon restarted subscribes again and is told of, so that what it has not
// acknowledged is sent again (mochi-mqtt/server issues 86, 369).
func TestSubscriberReturnsAfterARestart(t *testing.T) {
	h := newHeard()
	o := Options{Acknowledged: h.acknowledged, Subscribed: h.subscribed}
	b, stop := serve(t, o)
	phone, _ := connect(t, b, "phone", keep)
	phone.subscribe("a/alert", 1)
	require.NoError(t, phone.conn.Close())
	o.Addr = b.Addr()
	stop()
	b, _ = serve(t, o)
	phone, ack := connect(t, b, "phone", keep)
	assert.False(t, ack.SessionPresent, "it is told that its subscriptions are gone")
	before := len(h.all())
	phone.subscribe("a/alert", 1)
	require.Eventually(t, func() bool { return len(h.all()) > before }, 5e9, 1e6)
}
