package mqtt

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"syscall"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// trouble is why there is no link, in words for a person.
type trouble struct {
	text, hint string
	// lasting tells that only a person can change it: come back less often.
	lasting bool
}

// connectError is a CONNECT that did not lead to a connection.
type connectError struct {
	code byte
	err  error
}

func (e *connectError) Error() string { return e.err.Error() }
func (e *connectError) Unwrap() error { return e.err }

// handshakeError is a TLS handshake that failed.
type handshakeError struct{ err error }

func (e *handshakeError) Error() string { return e.err.Error() }
func (e *handshakeError) Unwrap() error { return e.err }

// takeovers is how many connections in a row must be cut short before a second client is suspected.
const takeovers = 3

func (c *Client) trouble(err error) trouble {
	ce, connecting := errors.AsType[*connectError](err)
	if connecting {
		c.mu.Lock()
		c.short = 0
		c.mu.Unlock()
		return c.connectTrouble(ce)
	}
	c.mu.Lock()
	short := c.short
	c.mu.Unlock()
	if short >= takeovers {
		return trouble{
			text:    fmt.Sprintf("the broker keeps ending the connection: it looks as if another client uses the id %s", c.id()),
			hint:    "give each device its own name under [device], and run one nightjar at a time",
			lasting: true,
		}
	}
	return trouble{text: fmt.Sprintf("link to the broker %s lost: %v", c.b.shown, err), hint: "it is opened again by itself"}
}

func (c *Client) connectTrouble(e *connectError) trouble {
	switch e.code {
	case packets.ErrRefusedBadUsernameOrPassword, packets.ErrRefusedNotAuthorised:
		who := "a client without a user"
		if c.o.User != "" {
			who = fmt.Sprintf("the user %q or the password", c.o.User)
		}
		return trouble{fmt.Sprintf("the broker %s refuses %s", c.b.shown, who), "check user and password_file under [mqtt]", true}
	case packets.ErrRefusedIDRejected:
		return trouble{fmt.Sprintf("the broker %s refuses the id %s", c.b.shown, c.id()), "choose another name under [device]", true}
	}
	return c.networkTrouble(e.err)
}

func (c *Client) networkTrouble(err error) trouble {
	text := fmt.Sprintf("broker %s: %s", c.b.shown, strings.TrimPrefix(err.Error(), "network Error : "))
	var dns *net.DNSError
	var unknown x509.UnknownAuthorityError
	var host x509.HostnameError
	var invalid x509.CertificateInvalidError
	var record tls.RecordHeaderError
	var op *net.OpError
	_, handshake := errors.AsType[*handshakeError](err)
	hungUp := errors.Is(err, io.EOF) || errors.Is(err, syscall.ECONNRESET)
	switch {
	case errors.As(err, &unknown):
		return trouble{text, "name the file of the certificate authority as ca_file under [mqtt]", true}
	case errors.As(err, &host):
		return trouble{text, "the certificate is for another name: use that one in broker under [mqtt]", true}
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return trouble{text, "the certificate's dates do not fit this clock: wait until the clock is set, else renew the certificate", false}
	case errors.As(err, &record), hungUp && handshake:
		return trouble{text, "the other end does not speak TLS there: use the broker's TLS port, or mqtt://", true}
	case hungUp && !c.b.secure:
		return trouble{text, "the other end hung up: is it a broker, and does it want TLS (mqtts://)?", true}
	case hungUp, errors.As(err, &op) && op.Op == "remote error": // with TLS 1.3 the refusal comes after the handshake
		return trouble{text, "the broker does not take this device's certificate: check cert_file and key_file under [mqtt]", true}
	case errors.As(err, &dns):
		return trouble{text, "check the host in broker under [mqtt] and the network", false}
	case errors.Is(err, syscall.ECONNREFUSED):
		return trouble{text, "nothing listens there: start the broker or correct broker under [mqtt]", false}
	}
	return trouble{text, "check the network and broker under [mqtt]", false}
}
