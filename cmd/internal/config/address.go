package config

import (
	"nightjar/notify/push"

	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"time"
)

func (c *checker) mqtt(f file, d MQTT) MQTT {
	m := MQTT{
		Broker:       c.url("mqtt.broker", f.MQTT.Broker, "mqtt", "mqtts"),
		Listen:       c.listen("mqtt.listen", f.MQTT.Listen, d.Listen, text(f.MQTT.UsersFile, "") != ""),
		User:         text(f.MQTT.User, ""),
		PasswordFile: c.path("mqtt.password_file", f.MQTT.PasswordFile),
		CAFile:       c.path("mqtt.ca_file", f.MQTT.CAFile),
		CertFile:     c.path("mqtt.cert_file", f.MQTT.CertFile),
		KeyFile:      c.path("mqtt.key_file", f.MQTT.KeyFile),
		UsersFile:    c.path("mqtt.users_file", f.MQTT.UsersFile),
		Discovery:    c.prefix("mqtt.discovery", f.MQTT.Discovery, d.Discovery),
		KeepAlive:    c.span("mqtt.keep_alive", f.MQTT.KeepAlive, d.KeepAlive, 10*time.Second, 10*time.Minute),
	}
	if m.User != "" && m.Broker == "" {
		c.fail("mqtt.user", "a user without a broker to sign in at", "name the broker as well; the users of the embedded one stand in users_file")
	}
	if m.PasswordFile != "" && m.User == "" {
		c.fail("mqtt.password_file", "a password without a user", "set user as well")
	}
	if m.CAFile != "" && !strings.HasPrefix(m.Broker, "mqtts:") {
		c.fail("mqtt.ca_file", "certificates without an encrypted broker", "write the broker as mqtts://HOST")
	}
	if (m.CertFile == "") != (m.KeyFile == "") {
		c.fail("mqtt.cert_file", "a certificate without its key, or a key without its certificate", "set cert_file and key_file together")
	}
	return m
}

// url checks an address of one of the given schemes. It must not hold a password.
func (c *checker) url(key string, v *string, schemes ...string) string {
	word := text(v, "")
	if word == "" {
		return ""
	}
	example := fmt.Sprintf("write it as %s://HOST or %s://HOST:PORT", schemes[0], schemes[len(schemes)-1])
	u, err := url.Parse(word)
	switch {
	case err != nil || u.Hostname() == "" || (u.Scheme != schemes[0] && u.Scheme != schemes[len(schemes)-1]):
		c.fail(key, fmt.Sprintf("%q is no address", word), example)
	case u.User != nil:
		c.fail(key, "an address must not hold a user or a password", "name the user apart, and the password by a file")
	case u.Port() != "" && !validPort(u.Port()):
		c.fail(key, fmt.Sprintf("%q is no port", u.Port()), example)
	}
	return word
}

func validPort(port string) bool {
	n, err := strconv.Atoi(port)
	return err == nil && n > 0 && n < 1<<16
}

// listen checks an address to listen on. Without users only this machine may reach it.
func (c *checker) listen(key string, v *string, d string, users bool) string {
	word := text(v, d)
	host, port, err := net.SplitHostPort(word)
	if err != nil || !validPort(port) {
		c.fail(key, fmt.Sprintf("%q is no address", word), "write it as "+d)
		return word
	}
	ip, err := netip.ParseAddr(host)
	if !users && host != "localhost" && (err != nil || !ip.IsLoopback()) {
		c.fail(key, fmt.Sprintf("%q can be reached from other machines", host), "nothing may listen beyond this machine without a password: use 127.0.0.1, or set users_file")
	}
	return word
}

// template refuses a body or a header that does not parse, and an address that cannot be posted to.
func (c *checker) template(key string, p Push) {
	if p.URL == "" {
		return
	}
	if _, err := push.New(push.Options{Name: p.Name, URL: p.URL, Preset: p.Format, Body: p.Body, Headers: p.Headers, Topic: p.Topic}); err != nil {
		c.fail(key+".body", err.Error(), "a template names fields such as {{.Text}}, {{.Title}} and {{.ID}}; leave body and headers out for the preset's")
	}
}

func (c *checker) pushes(fs []filePush) []Push {
	var pushes []Push
	seen := map[string]bool{}
	for i, f := range fs {
		key := "push." + strconv.Itoa(i)
		p := Push{
			Name:      c.name(key+".name", f.Name, "push"),
			URL:       c.url(key+".url", f.URL, "https", "http"),
			Format:    c.oneOf(key+".format", f.Format, "text", push.Presets()),
			Body:      text(f.Body, ""),
			Topic:     text(f.Topic, ""),
			Headers:   f.Headers,
			TokenFile: c.path(key+".token_file", f.TokenFile),
			CAFile:    c.path(key+".ca_file", f.CAFile),
		}
		c.template(key, p)
		if p.URL == "" {
			c.fail(key+".url", "is missing", "write where to post alerts, such as url = \"https://push.example/kitchen\"")
		}
		if seen[p.Name] {
			c.fail(key+".name", fmt.Sprintf("two push targets are named %q", p.Name), "give each a name of its own")
		}
		seen[p.Name] = true
		pushes = append(pushes, p)
	}
	return pushes
}
