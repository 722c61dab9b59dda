package broker

import (
	"strings"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAccessFile(t *testing.T) {
	a, err := ReadAccess(strings.NewReader(`
# everybody
topic read nightjar/+/availability

user phone
topic read nightjar/#
topic write nightjar/+/+/command
topic deny nightjar/barn/#

user keeper
topic readwrite #
topic $SYS/#

pattern readwrite home/%u/#
pattern write from/%c
`))
	require.NoError(t, err)
	for _, tt := range []struct {
		user, client, name string
		read, write        bool
	}{
		{"phone", "p", "nightjar/attic/main/alert", true, false},
		{"phone", "p", "nightjar/attic/main/command", true, true},
		{"phone", "p", "nightjar/barn/main/alert", false, false},
		{"phone", "p", "nightjar/barn/availability", false, false},
		{"phone", "p", "other", false, false},
		{"", "p", "nightjar/attic/availability", true, false},
		{"", "p", "nightjar/attic/main/alert", false, false},
		{"keeper", "p", "nightjar/attic/main/alert", true, true},
		{"keeper", "p", "$SYS/broker/uptime", true, true},
		{"phone", "p", "home/phone/x", true, true},
		{"phone", "p", "home/keeper/x", false, false},
		{"phone", "p", "from/p", false, true},
		{"+", "p", "home/keeper/x", false, false},
		{"phone", "+", "from/x", false, false},
		{"phone", "p", "nightjar/#", true, false}, // a subscription
	} {
		assert.Equal(t, tt.read, a.may(tt.user, tt.client, tt.name, false), "read %+v", tt)
		assert.Equal(t, tt.write, a.may(tt.user, tt.client, tt.name, true), "write %+v", tt)
	}
	for _, bad := range []string{"topik x", "topic", "topic read", "topic a#", "topic a/#/b", "topic +a", "user"} {
		_, err := ReadAccess(strings.NewReader("topic a\n" + bad))
		assert.ErrorContains(t, err, "line 2", bad)
	}
}

func FuzzReadAccess(f *testing.F) {
	f.Add("user a\ntopic read b/#\npattern write c/%u\n")
	f.Fuzz(func(_ *testing.T, text string) {
		if a, err := ReadAccess(strings.NewReader(text)); err == nil {
			a.may("u", "c", "a/b", true)
		}
	})
}

// Only the daemon itself can tell an alert, and nobody takes its place.
func TestUsersCannotForgeAnAlert(t *testing.T) {
	line, err := PasswordLine("phone", "rye")
	require.NoError(t, err)
	users, err := ReadUsers(strings.NewReader(line))
	require.NoError(t, err)
	h := newHeard()
	b, _ := serve(t, Options{Users: users, Acknowledged: h.acknowledged, Subscribed: h.subscribed})
	as := func(user, password string) func(*packets.ConnectPacket) {
		return func(p *packets.ConnectPacket) {
			p.UsernameFlag, p.PasswordFlag, p.Username, p.Password = true, true, user, []byte(password)
		}
	}
	phone, ack := connect(t, b, "phone", as("phone", "rye"))
	require.Equal(t, byte(packets.Accepted), ack.ReturnCode)
	phone.subscribe("nightjar/#", 1)
	h.wait(t, "sub phone nightjar/#")
	user, password := b.Credential()
	daemon, ack := connect(t, b, "nightjar-attic", as(user, password))
	require.Equal(t, byte(packets.Accepted), ack.ReturnCode)
	daemon.subscribe("nightjar/attic/+/command", 1)

	_, ack = connect(t, b, "nightjar-attic", as("phone", "rye"))
	assert.NotEqual(t, byte(packets.Accepted), ack.ReturnCode, "the daemon's id is its own")

	phone.publish(5, "nightjar/attic/main/command", "{}", false)
	assert.Equal(t, "{}", string(daemon.message().Payload))
	daemon.publish(6, "nightjar/attic/main/alert", "true", false)
	var got []string
	for range 2 {
		m := phone.message()
		got = append(got, m.TopicName)
		phone.acknowledge(m)
	}
	assert.ElementsMatch(t, []string{"nightjar/attic/main/command", "nightjar/attic/main/alert"}, got)

	forger, _ := connect(t, b, "forger", as("phone", "rye"))
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.MessageID, p.Qos, p.TopicName, p.Payload = 7, 1, "nightjar/attic/main/alert", []byte("forged")
	require.NoError(t, p.Write(forger.conn))
	for { // MQTT 3.1.1 knows no refusal but the end of the connection
		if _, err := packets.ReadPacket(forger.conn); err != nil {
			break
		}
	}
	daemon.publish(8, "nightjar/attic/main/alert", "after", false)
	assert.Equal(t, "after", string(phone.message().Payload))
}
