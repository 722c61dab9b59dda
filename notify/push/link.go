package push

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/url"
	"strings"

	"nightjar/rise"
)

// Links makes links with which whoever holds one can acknowledge one alert, and nothing else, without signing in.
//
// A link ends in a keyed digest of the alert's id (HMAC-SHA-256, RFC 2104). It is good once, because it always stands
// for the same action, ActionID, which is done once. Following it must not acknowledge by itself, only a POST may:
// messengers fetch links to show what is behind them.
type Links struct {
	base string
	key  []byte
}

// keyLength is the least that a key must hold, in bytes: as long as the digest.
const keyLength = sha256.Size

// NewLinks makes links below base, such as http://attic.local:8080, with a secret key of at least 32 bytes.
func NewLinks(base string, key []byte) (*Links, error) {
	u, err := url.Parse(base)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return nil, fmt.Errorf("links to acknowledge: %q is no http://host", base)
	}
	if len(key) < keyLength {
		return nil, fmt.Errorf("links to acknowledge: a key of %d bytes; it takes %d", len(key), keyLength)
	}
	return &Links{base: strings.TrimSuffix(base, "/"), key: key}, nil
}

// URL is the link for an alert; it fits Options.AckURL.
func (l *Links) URL(a rise.Alert) string {
	return fmt.Sprintf("%s/ack/%s/%s", l.base, url.PathEscape(a.ID), l.token(a.ID))
}

// Verify reports whether the token is the alert's.
func (l *Links) Verify(alertID, token string) bool {
	return hmac.Equal([]byte(token), []byte(l.token(alertID)))
}

// ActionID is the id of the action that the alert's link stands for.
func ActionID(alertID string) string { return "link-" + alertID }

func (l *Links) token(alertID string) string {
	mac := hmac.New(sha256.New, l.key)
	mac.Write([]byte("acknowledge\x00" + alertID))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}
