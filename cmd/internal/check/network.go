package check

import (
	"context"
	"errors"
	"net"
	"net/url"
	"os"
	"syscall"
	"time"

	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/machine"
)

// dialTime bounds how long a broker may take to answer.
const dialTime = 3 * time.Second

// broker looks whether alerts can leave: secrets readable, broker reachable, or the embedded one's port free.
func (m *Machine) broker(ctx context.Context) []Finding {
	c := m.Config.MQTT
	if c.Broker == "" {
		return []Finding{m.embedded(ctx, c.Listen)}
	}
	var found []Finding
	if c.PasswordFile != "" {
		if _, err := config.ReadSecret(c.PasswordFile); err != nil {
			found = append(found, fail("broker's password", hint(err, "write it on the first line of that file, mode 0640, group nightjar"), "%v", err))
		}
	}
	return append(found, m.reach(ctx, c.Broker))
}

func (m *Machine) reach(ctx context.Context, broker string) Finding {
	const name = "broker"
	u, err := url.Parse(broker)
	if err != nil {
		return fail(name, "see mqtt.broker in the configuration", "%v", err)
	}
	port := u.Port()
	if port == "" {
		port = map[string]string{"mqtt": "1883", "mqtts": "8883"}[u.Scheme]
	}
	address := net.JoinHostPort(u.Hostname(), port)
	ctx, cancel := context.WithTimeout(ctx, dialTime)
	defer cancel()
	conn, err := m.Dial(ctx, "tcp", address)
	if dns, ok := errors.AsType[*net.DNSError](err); ok {
		return fail(name, "is the name spelt right, and is this machine on the network?", "%s cannot be found: %s", u.Hostname(), dns.Err)
	}
	if err != nil {
		return fail(name, "is the broker running and does it listen to other machines? Alerts wait and are sent when it is", "%s does not answer: %v", address, err)
	}
	conn.Close()
	return ok(name, "%s answers", address)
}

// embedded looks whether somebody else has the embedded broker's port.
func (m *Machine) embedded(ctx context.Context, address string) Finding {
	const name = "embedded broker"
	ctx, cancel := context.WithTimeout(ctx, dialTime)
	defer cancel()
	conn, err := m.Dial(ctx, "tcp", address)
	switch {
	case err == nil && m.Live != "":
		conn.Close()
		return ok(name, "%s answers", address)
	case err == nil:
		conn.Close()
		return fail(name, `use that broker, broker = "mqtt://`+address+`", or set listen to another port`, "something else listens on %s", address)
	case m.Live != "":
		return fail(name, "its log says why: journalctl -u nightjar", "the service runs but %s does not answer: %v", address, err)
	case errors.Is(err, syscall.ECONNREFUSED):
		return ok(name, "%s is free", address)
	}
	return warn(name, "", "%s: %v", address, err)
}

// clock looks whether the clock is set by the network.
func (m *Machine) clock() Finding {
	if machine.ClockSynced(os.DirFS(m.Root)) {
		return ok("clock", "set by the network")
	}
	return warn("clock", "timedatectl set-ntp true, and check the network; with another time service than systemd-timesyncd this is not known",
		"not known to be set by the network: times are estimates until it is, curves and alerts are right all the same")
}

// service looks whether nightjar is watching.
func (m *Machine) service() []Finding {
	if m.Live == "" {
		return []Finding{warn("service", "sudo systemctl enable --now nightjar, or nightjar watch", "not running: nothing answers on %s", m.Socket)}
	}
	found := []Finding{ok("service", "version %s answers on %s", m.Live, m.Socket)}
	if !m.CanWake {
		found = append(found, warn("waking you", "subscribe to the alerts on your phone and acknowledge one of them from there", "a run cannot wake you: %s", m.CanWakeWhy))
	}
	return found
}
