package web_test

import (
	"context"
	"encoding/json"
	"io/fs"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/desk"
	"nightjar/cmd/internal/web"
	"nightjar/rise"
	"nightjar/store/storetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

type clock struct{}

func (clock) Wall() time.Time                            { return time.Date(2026, 3, 4, 21, 0, 0, 0, time.UTC) }
func (clock) Boot() time.Duration                        { return time.Hour }
func (clock) Sleep(context.Context, time.Duration) error { panic("a desk does not wait") }

// newHandler is a handler over a new store with one jar.
func newHandler(t testing.TB) *web.Handler {
	t.Helper()
	db := storetest.Open(t)
	require.NoError(t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: db.Boot(), At: time.Hour}, Wall: clock{}.Wall()}))
	d := &desk.Desk{Store: db, Clock: clock{}, Device: "nightjar", Version: "v1", Stations: config.Default().Stations, Alerts: config.Default().Alerts}
	_, err := d.AddJar(rise.Jar{Name: "tall", FloorMM: 142, Profile: rise.Profile{DiameterMM: 71.5}})
	require.NoError(t, err)
	return web.NewHandler(d, nil)
}

// ask sends one request and decodes the answer.
func ask(t *testing.T, h http.Handler, method, path, body string, status int) map[string]any {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(method, path, strings.NewReader(body)))
	require.Equal(t, status, w.Code, w.Body.String())
	assert.Equal(t, "application/json", w.Header().Get("Content-Type"))
	var v any
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &v))
	m, _ := v.(map[string]any)
	return m
}

func TestEveryPathAnswers(t *testing.T) {
	t.Parallel()
	h := newHandler(t)
	assert.Equal(t, "v1", ask(t, h, "GET", "/api/version", "", 200)["version"])
	done := ask(t, h, "POST", "/api/actions", `{"kind":"start","start":{"name":"loaf","jar":"tall"}}`, 200)
	assert.EqualValues(t, 1, done["run"].(map[string]any)["run"])
	st := ask(t, h, "GET", "/api/status", "", 200)
	assert.EqualValues(t, 1, st["stations"].([]any)[0].(map[string]any)["run"])
	assert.Equal(t, "loaf", ask(t, h, "GET", "/api/runs/1", "", 200)["name"])
	assert.Empty(t, ask(t, h, "GET", "/api/runs/1/series?every=1m", "", 200)["points"])
	assert.Equal(t, "tall", ask(t, h, "GET", "/api/jars/tall@1", "", 200)["name"])
	assert.EqualValues(t, 1, ask(t, h, "POST", "/api/jars", `{"name":"cup","floor_mm":120,"profile":{"diameter_mm":60}}`, 200)["version"])
	for _, list := range []string{"/api/runs", "/api/jars"} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", list, nil))
		assert.True(t, strings.HasPrefix(w.Body.String(), "["), list)
	}
}

func TestErrorsAreProblemsWithTheirStatus(t *testing.T) {
	t.Parallel()
	h := newHandler(t)
	tests := []struct {
		name, method, path, body string
		status                   int
		says, hint               string
	}{
		{"no such path", "GET", "/api/nothing", "", 404, "not part of the API", "version"},
		{"wrong method", "DELETE", "/api/jars", "", 404, "DELETE /api/jars", "version"},
		{"no such run", "GET", "/api/runs/9", "", 404, "no run 9", "nightjar runs"},
		{"no number", "GET", "/api/runs/x", "", 400, "no run's number", "count from 1"},
		{"no span", "GET", "/api/runs/1/series?every=5", "", 400, "no time span", "5m"},
		{"no format", "GET", "/api/runs/1/export?format=xls", "", 400, "xls", "csv or json"},
		{"no JSON", "POST", "/api/actions", "end", 400, "not understood", "JSON"},
		{"unknown key", "POST", "/api/actions", `{"kind":"end","when_ever":1}`, 400, `"when_ever"`, "keys"},
		{"two values", "POST", "/api/actions", `{"kind":"end"}{}`, 400, "more than one", "one JSON object"},
		{"huge body", "POST", "/api/actions", `{"text":"` + strings.Repeat("x", 70000) + `"}`, 400, "too large", "65536 bytes"},
		{"wrong type", "POST", "/api/jars", `{"floor_mm":"142"}`, 400, "floor_mm", "JSON"},
		{"refused", "POST", "/api/actions", `{"kind":"end"}`, 409, "no run is open", "nightjar start"},
		{"bad value", "POST", "/api/actions", `{"kind":"start","start":{"target":0.5}}`, 400, "target of 0.5", "1.5"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := ask(t, h, tt.method, tt.path, tt.body, tt.status)
			assert.Contains(t, p["error"], tt.says)
			assert.Contains(t, p["hint"], tt.hint)
		})
	}
}

func TestABackupIsAStore(t *testing.T) {
	t.Parallel()
	h := newHandler(t)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/api/backup", nil))
	require.Equal(t, 200, w.Code)
	path := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, os.WriteFile(path, w.Body.Bytes(), 0o600))
	storetest.Check(t, path)
}

// shortDir is a folder whose path leaves room for a socket's name.
func shortDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "nj")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func TestSocketIsForOwnerAndGroupAndGoesWithItsListener(t *testing.T) {
	t.Parallel()
	path := filepath.Join(shortDir(t), "nightjar.sock")
	l, err := web.Listen(path)
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, fs.ModeSocket|0o660, info.Mode())
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	assert.Len(t, entries, 1)

	_, err = web.Listen(path)
	require.ErrorContains(t, err, "another nightjar answers there")
	require.NoError(t, l.Close())
	assert.NoFileExists(t, path)
}

func TestADeadSocketIsReplacedAndNothingElse(t *testing.T) {
	t.Parallel()
	path := filepath.Join(shortDir(t), "nightjar.sock")
	dead, err := net.ListenUnix("unix", &net.UnixAddr{Name: path, Net: "unix"})
	require.NoError(t, err)
	dead.SetUnlinkOnClose(false)
	require.NoError(t, dead.Close())
	l, err := web.Listen(path)
	require.NoError(t, err)
	require.NoError(t, l.Close())

	require.NoError(t, os.WriteFile(path, []byte("a letter"), 0o600))
	_, err = web.Listen(path)
	require.ErrorContains(t, err, "no socket")
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "a letter", string(kept))
	_, err = web.Listen("/" + strings.Repeat("x", 200))
	require.ErrorContains(t, err, "longer than")
	_, err = web.Listen(filepath.Join(path, "below", "a.sock"))
	require.Error(t, err)
}

func TestServeStopsWithItsContext(t *testing.T) {
	t.Parallel()
	path := filepath.Join(shortDir(t), "nightjar.sock")
	l, err := web.Listen(path)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- web.Serve(ctx, l, newHandler(t), nil) }()
	tr := &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", path)
	}}
	defer tr.CloseIdleConnections()
	resp, err := (&http.Client{Transport: tr}).Get("http://nightjar/api/version")
	require.NoError(t, err)
	var v api.Version
	require.NoError(t, json.NewDecoder(resp.Body).Decode(&v))
	require.NoError(t, resp.Body.Close())
	assert.Equal(t, "nightjar", v.Device)
	stop()
	require.NoError(t, <-served)
	assert.NoFileExists(t, path)
}

func FuzzActionBody(f *testing.F) {
	for _, kind := range rise.ActionKinds {
		f.Add(`{"kind":"` + string(kind) + `","start":{"target":2},"feed":{"starter":"g","seed_g":1,"flour_g":1,"water_g":1},"mark":"folded","minutes":5,"outcome":{"crumb":"open"},"text":"x"}`)
	}
	f.Add(`{"kind":"start","when":{"time":"2026-03-04T20:30:00Z"},"start":{"jar":"tall@1","base_mm":null,"plan":"2026-03-05T06:00:00Z"}}`)
	f.Add(`{"kind":"ignore","from":"2026-03-04T20:30:00Z","to":"2026-03-04T20:31:00Z"}`)
	h := newHandler(f)
	f.Fuzz(func(t *testing.T, body string) {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("POST", "/api/actions", strings.NewReader(body)))
		require.Contains(t, []int{200, 400, 404, 409}, w.Code, w.Body.String())
		if w.Code != 200 {
			var p api.Problem
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &p))
			assert.NotEmpty(t, p.Error)
			assert.NotEmpty(t, p.Hint, p.Error)
		}
	})
}
