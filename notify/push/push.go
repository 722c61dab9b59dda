package push

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"text/template"
	"time"

	"nightjar/notify"
	"nightjar/rise"
)

const (
	// limit is how long a POST may take.
	limit = 10 * time.Second
	// answerLimit bounds what is read of an answer, in bytes.
	answerLimit = 4 << 10
	// redirects that are followed, on the same host.
	redirects = 3
)

// Options are what a Target is made of.
type Options struct {
	// Name tells targets apart; it is the route's name in the outbox.
	Name string
	// URL is posted to: https://host/path. User and password in it are sent as basic authentication.
	URL string
	// Preset is one of Presets; empty is "text". Body and Headers replace parts of it.
	Preset string
	// Body is a template over Data; empty is the preset's.
	Body string
	// Headers are templates over Data by header name; an empty one takes the preset's away.
	Headers map[string]string
	// Secrets are headers that are no templates: "Authorization": "Bearer ...".
	Secrets map[string]string
	// Topic is handed to templates.
	Topic string
	// AckURL makes a link that acknowledges an alert; nil or an empty answer is none.
	AckURL func(rise.Alert) string
	// TLS is used for https; nil is the system's certificate authorities.
	TLS *tls.Config
	// Now is the clock that a Retry-After with a date is read by if the answer has no date; nil is time.Now.
	Now func() time.Time
}

// Target is one address that alerts are posted to. It is a notify.Sender.
type Target struct {
	o       Options
	host    string
	body    *template.Template
	headers map[string]*template.Template
	client  *http.Client
}

var _ notify.Sender = (*Target)(nil)

// New checks the options and tries the templates. It sends nothing.
func New(o Options) (*Target, error) {
	u, err := url.Parse(o.URL)
	if err != nil || u.Host == "" || (u.Scheme != "https" && u.Scheme != "http") {
		return nil, fmt.Errorf("push %s: the address is no https://host/path", o.Name)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	t := &Target{o: o, host: u.Host, headers: map[string]*template.Template{}}
	err = t.templates()
	if err == nil {
		err = t.try()
	}
	if err != nil {
		return nil, fmt.Errorf("push %s: %w", o.Name, err)
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.TLSClientConfig = o.TLS.Clone()
	transport.MaxIdleConnsPerHost, transport.IdleConnTimeout = 1, 30*time.Second
	t.client = &http.Client{Transport: transport, Timeout: limit, CheckRedirect: sameHost}
	return t, nil
}

func (t *Target) templates() (err error) {
	p, ok := presets[cmp.Or(t.o.Preset, "text")]
	if !ok {
		return fmt.Errorf("preset %q is not known: use one of %s", t.o.Preset, strings.Join(Presets(), ", "))
	}
	if t.body, err = parse("body", cmp.Or(t.o.Body, p.body)); err != nil {
		return err
	}
	texts := map[string]string{}
	for _, from := range []map[string]string{p.headers, t.o.Headers} {
		for name, text := range from {
			texts[http.CanonicalHeaderKey(name)] = text
		}
	}
	for _, name := range slices.Sorted(maps.Keys(texts)) {
		if texts[name] == "" {
			continue
		}
		if t.headers[name], err = parse("header "+name, texts[name]); err != nil {
			return err
		}
	}
	return nil
}

// render is what is sent for an alert.
func (t *Target) render(a rise.Alert) (body string, headers http.Header, err error) {
	ack := ""
	if t.o.AckURL != nil {
		ack = t.o.AckURL(a)
	}
	d := newData(a, t.o.Topic, ack)
	if body, err = execute(t.body, d); err != nil {
		return "", nil, err
	}
	headers = http.Header{"Idempotency-Key": {strconv.Quote(headerValue(a.ID))}}
	for name, h := range t.headers {
		v, err := execute(h, d)
		if err != nil {
			return "", nil, err
		}
		headers.Set(name, headerValue(v))
	}
	for name, v := range t.o.Secrets {
		headers.Set(name, strings.TrimSpace(v))
	}
	return body, headers, nil
}

// Send posts the alert. It returns nil after an answer of 2xx.
func (t *Target) Send(ctx context.Context, a rise.Alert) error {
	body, headers, err := t.render(a)
	if err != nil {
		return fmt.Errorf("push %s: %w: %w", t.o.Name, notify.ErrRefused, err)
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, t.o.URL, strings.NewReader(body))
	if err != nil {
		return fmt.Errorf("push %s: %w", t.o.Name, hide(err))
	}
	req.Header = headers
	res, err := t.client.Do(req)
	if err != nil {
		return fmt.Errorf("push %s to %s: %w", t.o.Name, t.host, hide(err))
	}
	defer res.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(res.Body, answerLimit)) // an answer cut short is still an answer
	return t.judge(res, firstLine(said))
}

// Close ends idle connections.
func (t *Target) Close() { t.client.CloseIdleConnections() }

// judge turns an answer into an error, nil for 2xx.
func (t *Target) judge(res *http.Response, said string) error {
	if res.StatusCode/100 == 2 {
		return nil
	}
	err := fmt.Errorf("push %s: %s answers %s%s", t.o.Name, t.host, res.Status, said)
	switch code := res.StatusCode; {
	case code == http.StatusTooManyRequests, code == http.StatusServiceUnavailable:
		if wait, ok := t.retryAfter(res.Header); ok {
			return &notify.RetryAfter{After: wait, Err: err}
		}
		return err
	case code/100 == 3:
		return fmt.Errorf("%w: it wants to send the alert elsewhere, which is not done: correct the url", err)
	case slices.Contains([]int{401, 403, 407}, code):
		return fmt.Errorf("%w: check the credentials", err)
	case slices.Contains([]int{404, 405, 410}, code):
		return fmt.Errorf("%w: check the url", err)
	case slices.Contains([]int{400, 413, 414, 415, 422, 431}, code):
		return fmt.Errorf("%w: %w", notify.ErrRefused, err)
	}
	return err
}

// retryAfter reads RFC 9110 section 10.2.3: seconds, or a date, which is compared with the answer's own.
func (t *Target) retryAfter(h http.Header) (time.Duration, bool) {
	v := h.Get("Retry-After")
	if n, err := strconv.Atoi(v); err == nil && n >= 0 {
		return time.Duration(min(n, 1<<20)) * time.Second, true
	}
	until, err := http.ParseTime(v)
	if err != nil {
		return 0, false
	}
	now, err := http.ParseTime(h.Get("Date"))
	if err != nil {
		now = t.o.Now()
	}
	return max(0, until.Sub(now)), true
}

// sameHost follows a redirect that keeps method, host and scheme.
func sameHost(req *http.Request, via []*http.Request) error {
	first := via[0]
	if len(via) > redirects || req.Method != first.Method || req.URL.Host != first.URL.Host || req.URL.Scheme != first.URL.Scheme {
		return http.ErrUseLastResponse
	}
	return nil
}

// hide takes the address out of an error of net/http.
func hide(err error) error {
	if u, ok := errors.AsType[*url.Error](err); ok {
		if u.Timeout() {
			return fmt.Errorf("no answer within %v", limit)
		}
		return u.Err
	}
	return err
}

func firstLine(b []byte) string {
	line, _, _ := strings.Cut(strings.TrimSpace(string(b)), "\n")
	if line == "" {
		return ""
	}
	return ": " + strings.TrimSpace(strings.ToValidUTF8(line[:min(len(line), 200)], "?"))
}
