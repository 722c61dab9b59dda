package mqtt_test

import (
	"context"
	"fmt"
	"net"
	"os/exec"
	"strings"
	"testing"
	"time"

	"nightjar/notify/broker"
	"nightjar/notify/mqtt"
	"nightjar/notify/notifytest"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"
)

// embedded runs a broker and a client that trusts its subscribers only. stop ends the client, then the broker.
func embedded(o mqtt.Options) (c *mqtt.Client, addr string, stop func(), err error) {
	b, err := broker.Listen(broker.Options{
		Addr:         "127.0.0.1:0",
		Acknowledged: func(topic string, payload []byte) { c.Acknowledged(topic, payload) },
		Subscribed:   func(client, filter string) { c.Subscribed(client, filter) },
	})
	if err != nil {
		return nil, "", nil, err
	}
	o.URL, o.Unproven = "mqtt://"+b.Addr(), true
	if c, err = mqtt.New(o); err != nil {
		b.Close()
		return nil, "", nil, err
	}
	clientCtx, stopClient := context.WithCancel(context.Background())
	brokerCtx, stopBroker := context.WithCancel(context.Background())
	var client, server errgroup.Group
	server.Go(func() error { return b.Run(brokerCtx) })
	client.Go(func() error { return c.Run(clientCtx) })
	return c, b.Addr(), func() {
		stopClient()
		_ = client.Wait() // always nil
		stopBroker()
		_ = server.Wait()
	}, nil
}

func TestAlertThroughTheEmbeddedBrokerWaitsForAReceiver(t *testing.T) {
	if _, err := exec.LookPath("mosquitto_sub"); err != nil {
		t.Skip("needs mosquitto_sub (apt-get install mosquitto-clients)")
	}
	var o notifytest.Outbox
	var ids []string
	for i := range 5 {
		a := notifytest.Alert("main", i)
		require.NoError(t, o.Issue(a))
		ids = append(ids, a.ID)
	}
	c, addr, stop, err := embedded(mqtt.Options{Device: "attic", Outbox: &o})
	require.NoError(t, err)
	defer stop()
	require.Eventually(t, func() bool { return c.Status().Connected }, 5*time.Second, time.Millisecond)
	assert.False(t, o.Wait("mqtt", 100*time.Millisecond), "nobody has received anything")

	host, port, _ := net.SplitHostPort(addr)
	out, err := exec.Command("mosquitto_sub", "-h", host, "-p", port, "-q", "1", "-C", "5", "-W", "10", "-t", c.AlertTopic("main")).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.True(t, o.Wait("mqtt", 5*time.Second))
	for i, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		assert.Contains(t, line, `"id":"`+ids[i]+`"`)
	}
	assert.Equal(t, rise.DeliveryDelivered, o.Delivery("mqtt", ids[0]).State)
}

func Example() {
	var outbox notifytest.Outbox
	c, _, stop, err := embedded(mqtt.Options{Device: "attic", Outbox: &outbox})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer stop()
	c.State("main", []byte(`{"multiple":1.85,"phase":"rising"}`))
	_ = outbox.Issue(rise.Alert{ID: "attic-5f0c11de-1", Kind: rise.AlertReady, Station: "main", Text: "Rye has doubled.", N: 1})
	c.Kick()
	c.Confirm("attic-5f0c11de-1") // somebody has pressed "I am up"
	fmt.Println(c.AlertTopic("main"), outbox.Wait("mqtt", 5*time.Second))
	// Output: nightjar/attic/main/alert true
}
