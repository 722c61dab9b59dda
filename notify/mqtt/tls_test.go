package mqtt

import (
	"net"
	"testing"
	"time"

	"nightjar/notify"
	"nightjar/notify/notifytest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// secured is a client for a mosquitto whose certificate is for serverName.
func secured(t *testing.T, m *mosquitto, ca, cert, key string) *Client {
	c, _ := newClient(t, m.addr, func(o *Options) {
		o.URL = "mqtts://" + m.addr
		var err error
		o.TLS, err = notify.TLS(ca, cert, key)
		require.NoError(t, err)
	})
	return c
}

func TestMosquittoOverTLS(t *testing.T) {
	p, stranger := notifytest.NewPKI(t), notifytest.NewPKI(t)
	cert, key := p.Issue(t, "127.0.0.1", time.Hour)
	own, ownKey := p.Issue(t, "attic", time.Hour)
	strange, strangeKey := stranger.Issue(t, "attic", time.Hour)
	m := newMosquitto(t, "allow_anonymous true", "cafile "+p.CA, "certfile "+cert, "keyfile "+key, "require_certificate true")

	var o notifytest.Outbox
	issue(t, &o, 3)
	c := secured(t, m, p.CA, own, ownKey)
	c.route = notify.NewRoute(notify.RouteOptions{Name: "mqtt", Outbox: &o, Sender: sender{c}})
	stop := run(t, c)
	require.True(t, o.Wait("mqtt", 10*time.Second))
	stop()

	for _, tt := range []struct{ name, ca, cert, key, hint string }{
		{"wrong authority", stranger.CA, own, ownKey, "ca_file"},
		{"no certificate of one's own", p.CA, "", "", "cert_file and key_file"},
		{"a stranger's certificate", p.CA, strange, strangeKey, "cert_file and key_file"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := secured(t, m, tt.ca, tt.cert, tt.key)
			stop := run(t, c)
			require.Eventually(t, func() bool { return c.Status().Hint != "" }, 10*time.Second, time.Millisecond)
			assert.Contains(t, c.Status().Hint, tt.hint)
			stop()
		})
	}
}

func TestCertificateTroubles(t *testing.T) {
	p := notifytest.NewPKI(t)
	expired, expiredKey := p.Issue(t, "127.0.0.1", -time.Minute)
	other, otherKey := p.Issue(t, "broker.lan", time.Hour)
	for _, tt := range []struct{ name, cert, key, hint string }{
		{"expired, or the clock is not set", expired, expiredKey, "wait until the clock is set"},
		{"for another name", other, otherKey, "for another name"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m := newMosquitto(t, "allow_anonymous true", "certfile "+tt.cert, "keyfile "+tt.key)
			c := secured(t, m, p.CA, "", "")
			run(t, c)
			require.Eventually(t, func() bool { return c.Status().Hint != "" }, 10*time.Second, time.Millisecond)
			assert.Contains(t, c.Status().Hint, tt.hint)
		})
	}
	t.Run("no TLS there", func(t *testing.T) {
		m := newMosquitto(t)
		c := secured(t, m, p.CA, "", "")
		run(t, c)
		require.Eventually(t, func() bool { return c.Status().Hint != "" }, 10*time.Second, time.Millisecond)
		t.Log(c.Status().Trouble)
		assert.Contains(t, c.Status().Hint, "does not speak TLS")
	})
	t.Run("unknown host", func(t *testing.T) {
		c, _ := newClient(t, "nowhere.invalid", nil) // RFC 6761: never resolves
		run(t, c)
		require.Eventually(t, func() bool { return c.Status().Hint != "" }, 20*time.Second, time.Millisecond)
		assert.Contains(t, c.Status().Hint, "check the host")
	})
	t.Run("nothing listens", func(t *testing.T) {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		require.NoError(t, l.Close())
		c, _ := newClient(t, l.Addr().String(), nil)
		run(t, c)
		require.Eventually(t, func() bool { return c.Status().Hint != "" }, 10*time.Second, time.Millisecond)
		assert.Contains(t, c.Status().Hint, "nothing listens there")
	})
}
