package push

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"log"
	"mime"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"nightjar/notify"
	"nightjar/notify/notifytest"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var update = flag.Bool("update", false, "rewrite the golden files")

// service is a push service that notes what it got and answers what it is told.
type service struct {
	*httptest.Server
	mu     sync.Mutex
	bodies []string
	heads  []http.Header
	paths  []string
}

func newService(t *testing.T, answer http.HandlerFunc) *service {
	s := &service{}
	s.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, err := io.ReadAll(r.Body)
		assert.NoError(t, err)
		s.mu.Lock()
		s.bodies, s.heads, s.paths = append(s.bodies, string(b)), append(s.heads, r.Header), append(s.paths, r.Method+" "+r.URL.Path)
		s.mu.Unlock()
		if answer != nil {
			answer(w, r)
		}
	}))
	t.Cleanup(s.Close)
	return s
}

func target(t *testing.T, o Options) *Target {
	o.Name = "phone"
	p, err := New(o)
	require.NoError(t, err)
	t.Cleanup(p.Close)
	return p
}

func ring() rise.Alert {
	a := notifytest.Alert("main", 3)
	a.Text = "Rye \"3\" has doubled.\nWake up 🍞"
	a.N, a.Repeats = 2, "attic-5f0c11de-2"
	return a
}

// What services get is fixed by golden files: people have rules and filters over it.
func TestPresets(t *testing.T) {
	for _, name := range Presets() {
		t.Run(name, func(t *testing.T) {
			s := newService(t, nil)
			p := target(t, Options{
				URL: s.URL + "/dough", Preset: name, Topic: "dough", AckURL: func(a rise.Alert) string { return "http://attic.local/ack/" + a.ID },
			})
			require.NoError(t, p.Send(t.Context(), ring()))
			var got strings.Builder
			fmt.Fprintln(&got, s.paths[0])
			for _, h := range []string{"Content-Type", "Title", "Priority", "Tags", "Idempotency-Key"} {
				if v := s.heads[0].Get(h); v != "" {
					fmt.Fprintf(&got, "%s: %s\n", h, v)
				}
			}
			fmt.Fprintf(&got, "\n%s\n", s.bodies[0])
			golden := "testdata/" + name + ".txt"
			if *update {
				require.NoError(t, os.WriteFile(golden, []byte(got.String()), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			assert.Equal(t, string(want), got.String())
			if strings.HasPrefix(s.heads[0].Get("Content-Type"), jsonType) {
				assert.True(t, json.Valid([]byte(s.bodies[0])))
			}
		})
	}
}

func TestOwnBodyAndHeaders(t *testing.T) {
	s := newService(t, nil)
	p := target(t, Options{
		URL: strings.Replace(s.URL, "http://", "http://baker:rye@", 1) + "/x", Body: `{"say":{{json .Text}},"run":{{json .Run}}}`,
		Headers: map[string]string{"content-type": "application/json", "title": "", "X-Kind": "{{.Kind}}\r\nX-Evil: 1", "X-Words": "{{.Text}}"},
		Secrets: map[string]string{"X-Token": "abc\n"},
	})
	require.NoError(t, p.Send(t.Context(), ring()))
	h := s.heads[0]
	assert.JSONEq(t, `{"say":"Rye \"3\" has doubled.\nWake up 🍞","run":4}`, s.bodies[0])
	assert.Equal(t, "application/json", h.Get("Content-Type"))
	assert.Empty(t, h.Get("Title"))
	assert.Empty(t, h.Get("X-Evil"))
	assert.Equal(t, "ready  X-Evil: 1", h.Get("X-Kind"))
	assert.Equal(t, "abc", h.Get("X-Token"))
	words, err := new(mime.WordDecoder).DecodeHeader(h.Get("X-Words")) // RFC 2047
	require.NoError(t, err)
	assert.Equal(t, `Rye "3" has doubled. Wake up 🍞`, words)
	user, _, ok := (&http.Request{Header: h}).BasicAuth()
	assert.True(t, ok)
	assert.Equal(t, "baker", user)
}

func TestMistakesShowAtStart(t *testing.T) {
	for _, tt := range []struct {
		name string
		o    Options
		want string
	}{
		{"no address", Options{}, "no https://host/path"},
		{"other scheme", Options{URL: "ftp://push.lan/x"}, "no https://host/path"},
		{"unknown preset", Options{Preset: "pigeon"}, "json, message, text"},
		{"body does not parse", Options{Body: "{{.Text"}, "template of body"},
		{"body with an unknown field", Options{Body: "{{.Colour}}"}, "template of body"},
		{"header does not parse", Options{Headers: map[string]string{"Title": "{{if}}"}}, "template of header Title"},
		{"JSON by hand", Options{Body: `{"text":"{{.Text}}"}`, Headers: map[string]string{"Content-Type": "application/json"}}, "{{json .Text}}"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if tt.o.URL == "" && tt.name != "no address" {
				tt.o.URL = "https://push.lan/x"
			}
			tt.o.Name = "phone"
			_, err := New(tt.o)
			assert.ErrorContains(t, err, tt.want)
			assert.ErrorContains(t, err, "push phone")
		})
	}
}

func TestAnswers(t *testing.T) {
	date := time.Date(2020, 2, 2, 2, 2, 2, 0, time.UTC) // the service's clock; ours may be wrong
	for _, tt := range []struct {
		name    string
		code    int
		header  map[string]string
		refused bool
		wait    time.Duration // 0: no RetryAfter
		says    string        // empty: delivered
	}{
		{name: "ok", code: 200},
		{name: "accepted", code: 202},
		{name: "bad", code: 400, refused: true, says: "400 Bad Request: sorry"},
		{name: "too large", code: 413, refused: true, says: "413"},
		{name: "credentials", code: 401, says: "check the credentials"},
		{name: "forbidden", code: 403, says: "check the credentials"},
		{name: "gone", code: 410, says: "check the url"},
		{name: "broken", code: 500, says: "500"},
		{name: "too many", code: 429, says: "429"},
		{name: "too many, seconds", code: 429, header: map[string]string{"Retry-After": "120"}, wait: 2 * time.Minute, says: "429"},
		{name: "too many, date", code: 503, header: map[string]string{"Retry-After": "Sun, 02 Feb 2020 02:03:02 GMT"}, wait: time.Minute, says: "503"},
		{name: "too many, past date", code: 503, header: map[string]string{"Retry-After": "Sun, 02 Feb 2020 02:01:02 GMT"}, says: "503"},
		{name: "too many, nonsense", code: 429, header: map[string]string{"Retry-After": "-5"}, says: "429"},
		{name: "moved without a place", code: 304, says: "correct the url"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newService(t, func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Date", date.Format(http.TimeFormat))
				for k, v := range tt.header {
					w.Header().Set(k, v)
				}
				w.WriteHeader(tt.code)
				if tt.code >= 400 {
					fmt.Fprint(w, "sorry\nmore")
				}
			})
			err := target(t, Options{URL: s.URL + "/secret-topic"}).Send(t.Context(), ring())
			if tt.says == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.says)
			assert.Equal(t, tt.refused, errors.Is(err, notify.ErrRefused))
			assert.NotContains(t, err.Error(), "secret-topic")
			after, ok := errors.AsType[*notify.RetryAfter](err)
			assert.Equal(t, tt.wait > 0, ok && after.After > 0)
			if tt.wait > 0 {
				assert.Equal(t, tt.wait, after.After)
			}
		})
	}
}

func TestRedirects(t *testing.T) {
	elsewhere := newService(t, nil)
	s := newService(t, func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/308":
			http.Redirect(w, r, "/home", http.StatusPermanentRedirect)
		case "/303":
			http.Redirect(w, r, "/home", http.StatusSeeOther)
		case "/away":
			http.Redirect(w, r, elsewhere.URL+"/x", http.StatusTemporaryRedirect)
		case "/round":
			http.Redirect(w, r, "/round", http.StatusTemporaryRedirect)
		}
	})
	require.NoError(t, target(t, Options{URL: s.URL + "/308"}).Send(t.Context(), ring()))
	assert.Equal(t, []string{"POST /308", "POST /home"}, s.paths)
	assert.Equal(t, s.bodies[0], s.bodies[1])
	for _, path := range []string{"/303", "/away", "/round"} {
		assert.ErrorContains(t, target(t, Options{URL: s.URL + path}).Send(t.Context(), ring()), "correct the url", path)
	}
	assert.Empty(t, elsewhere.bodies)
}

func TestServiceThatIsAwayOrSilent(t *testing.T) {
	s := newService(t, nil)
	s.Close()
	err := target(t, Options{URL: s.URL + "/secret-topic"}).Send(t.Context(), ring())
	require.Error(t, err)
	assert.NotContains(t, err.Error(), "secret-topic")
	assert.False(t, errors.Is(err, notify.ErrRefused))

	release := make(chan struct{})
	silent := newService(t, func(http.ResponseWriter, *http.Request) { <-release })
	defer close(release)
	p := target(t, Options{URL: silent.URL + "/secret-topic"})
	p.client.Timeout = 50 * time.Millisecond
	err = p.Send(t.Context(), ring())
	assert.ErrorContains(t, err, "no answer within")
	assert.NotContains(t, err.Error(), "secret-topic")
}

func TestCertificatesAreChecked(t *testing.T) {
	s := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	s.Config.ErrorLog = log.New(io.Discard, "", 0)
	defer s.Close()
	err := target(t, Options{URL: s.URL}).Send(t.Context(), ring())
	assert.ErrorContains(t, err, "certificate")
	pool := x509.NewCertPool()
	pool.AddCert(s.Certificate())
	require.NoError(t, target(t, Options{URL: s.URL, TLS: &tls.Config{RootCAs: pool}}).Send(t.Context(), ring()))
}

func TestAnEndlessAnswerIsNotRead(t *testing.T) {
	s := newService(t, func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusInternalServerError)
		for range 10_000 {
			if _, err := w.Write([]byte(strings.Repeat("no ", 1000))); err != nil {
				return
			}
		}
	})
	err := target(t, Options{URL: s.URL}).Send(t.Context(), ring())
	require.Error(t, err)
	assert.Less(t, len(err.Error()), 400)
}

// binwiederhier/ntfy issues 331, 1373: a service that answers 429 bans who does not listen; other routes are not held up.
func TestRouteWithAServiceThatHasHadEnough(t *testing.T) {
	calls := 0
	s := newService(t, func(w http.ResponseWriter, _ *http.Request) {
		if calls++; calls == 1 {
			w.Header().Set("Retry-After", "1")
			w.WriteHeader(http.StatusTooManyRequests)
		}
	})
	o := notifytest.Outbox{Routes: []string{"phone", "tablet"}}
	require.NoError(t, o.Issue(ring()))
	tablet := newService(t, nil)
	slow := notify.NewRoute(notify.RouteOptions{Name: "phone", Outbox: &o, Sender: target(t, Options{URL: s.URL})})
	quick := notify.NewRoute(notify.RouteOptions{Name: "tablet", Outbox: &o, Sender: target(t, Options{URL: tablet.URL})})
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	defer wg.Wait()
	defer cancel()
	wg.Go(func() { assert.NoError(t, slow.Run(ctx)) })
	wg.Go(func() { assert.NoError(t, quick.Run(ctx)) })
	began := time.Now()
	require.True(t, o.Wait("tablet", 5*time.Second))
	assert.Equal(t, rise.DeliveryPending, o.Delivery("phone", ring().ID).State)
	require.True(t, o.Wait("phone", 10*time.Second))
	assert.GreaterOrEqual(t, time.Since(began), time.Second)
	assert.Len(t, s.bodies, 2)
	assert.Equal(t, s.heads[0].Get("Idempotency-Key"), s.heads[1].Get("Idempotency-Key"))
}

func FuzzTemplate(f *testing.F) {
	f.Add("{{.Text}}", "{{.Title}}")
	f.Add("{{range .Repeats}}x{{end}}", "{{json .}}")
	f.Fuzz(func(t *testing.T, body, header string) {
		p, err := New(Options{Name: "phone", URL: "https://push.lan/x", Body: body, Headers: map[string]string{"X-H": header}})
		if err != nil {
			return
		}
		_, h, err := p.render(ring())
		if err == nil {
			assert.NotContains(t, h.Get("X-H"), "\n")
		}
	})
}

func TestURLIsNotShownWhateverIsWrongWithIt(t *testing.T) {
	_, err := New(Options{Name: "phone", URL: "https://push.lan/\x7fsecret-topic"})
	require.Error(t, err)
	assert.NotContains(t, err.Error(), "secret-topic")
	assert.Equal(t, "x", hide(&url.Error{Op: "Post", URL: "https://push.lan/secret-topic", Err: errors.New("x")}).Error())
}
