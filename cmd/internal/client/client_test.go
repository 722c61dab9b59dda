package client_test

import (
	"bytes"
	"context"
	"errors"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"nightjar/cmd/internal/client"
	"nightjar/cmd/internal/web"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// handler speaks the API's manners: an echo, a problem, a long answer, one that breaks off, one that is no JSON.
func handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /api/echo/{name}", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		var b bytes.Buffer
		_, _ = b.ReadFrom(r.Body)
		_, _ = w.Write([]byte(`{"name":"` + r.PathValue("name") + `","query":"` + r.URL.RawQuery + `","body":` + b.String() + `}`))
	})
	mux.HandleFunc("GET /api/problem", func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusConflict)
		_, _ = w.Write([]byte(`{"error":"a run is open","hint":"end it"}`))
	})
	mux.HandleFunc("GET /api/long", func(w http.ResponseWriter, _ *http.Request) {
		for range 1000 {
			_, _ = w.Write(bytes.Repeat([]byte("x"), 1000))
		}
	})
	mux.HandleFunc("GET /api/broken", func(w http.ResponseWriter, _ *http.Request) {
		_, _ = w.Write([]byte("half"))
		_ = http.NewResponseController(w).Flush()
		panic(http.ErrAbortHandler)
	})
	mux.HandleFunc("GET /api/bare", func(w http.ResponseWriter, _ *http.Request) { http.Error(w, "oh", http.StatusBadGateway) })
	return mux
}

// both runs a test over a socket and in process: nobody may be able to tell the difference.
func both(t *testing.T, test func(t *testing.T, c *client.Client)) {
	t.Run("in process", func(t *testing.T) {
		closed := false
		c, err := client.Open(t.Context(), client.Options{
			Socket: filepath.Join(t.TempDir(), "none.sock"),
			Local: func(context.Context) (http.Handler, func() error, error) {
				return handler(), func() error { closed = true; return nil }, nil
			},
		})
		require.NoError(t, err)
		test(t, c)
		require.NoError(t, c.Close())
		assert.True(t, closed)
	})
	t.Run("socket", func(t *testing.T) {
		dir, err := os.MkdirTemp("", "nj")
		require.NoError(t, err)
		defer os.RemoveAll(dir)
		path := filepath.Join(dir, "nightjar.sock")
		l, err := web.Listen(path)
		require.NoError(t, err)
		ctx, stop := context.WithCancel(t.Context())
		served := make(chan error, 1)
		go func() { served <- web.Serve(ctx, l, handler(), nil) }()
		c, err := client.Open(t.Context(), client.Options{Socket: path})
		require.NoError(t, err)
		test(t, c)
		require.NoError(t, c.Close())
		stop()
		require.NoError(t, <-served)
	})
}

func TestCallSendsAndReceives(t *testing.T) {
	both(t, func(t *testing.T, c *client.Client) {
		var out struct {
			Name, Query string
			Body        []int
		}
		require.NoError(t, c.Call(t.Context(), "POST /api/echo/{name}", []int{1, 2}, &out, "a/b c", "?every=5m"))
		assert.Equal(t, "a/b c", out.Name)
		assert.Equal(t, "every=5m", out.Query)
		assert.Equal(t, []int{1, 2}, out.Body)
	})
}

func TestProblemsAreErrorsWithHints(t *testing.T) {
	both(t, func(t *testing.T, c *client.Client) {
		var p *client.Problem
		require.ErrorAs(t, c.Call(t.Context(), "GET /api/problem", nil, nil), &p)
		assert.Equal(t, http.StatusConflict, p.Status)
		assert.Equal(t, "a run is open", p.Error())
		assert.Equal(t, "end it", p.Hint())
		require.ErrorAs(t, c.Call(t.Context(), "GET /api/bare", nil, nil), &p)
		assert.Contains(t, p.Error(), "502 Bad Gateway")
		assert.Contains(t, p.Hint(), "journalctl")
	})
}

func TestCopyStreamsAndTellsABreak(t *testing.T) {
	both(t, func(t *testing.T, c *client.Client) {
		var b bytes.Buffer
		require.NoError(t, c.Copy(t.Context(), &b, "GET /api/long"))
		assert.Equal(t, 1_000_000, b.Len())
		b.Reset()
		require.Error(t, c.Copy(t.Context(), &b, "GET /api/broken"))
		assert.Equal(t, "half", b.String())
		require.ErrorContains(t, c.Call(t.Context(), "GET /api/long", nil, new(int)), "read the daemon's answer")
	})
}

func TestACancelledCallEnds(t *testing.T) {
	both(t, func(t *testing.T, c *client.Client) {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		require.ErrorIs(t, c.Call(ctx, "GET /api/long", nil, nil), context.Canceled)
	})
}

func TestWithoutDaemonAndStoreTheStoresErrorIsTold(t *testing.T) {
	t.Parallel()
	locked := errors.New("locked")
	_, err := client.Open(t.Context(), client.Options{
		Socket: filepath.Join(t.TempDir(), "none.sock"),
		Local:  func(context.Context) (http.Handler, func() error, error) { return nil, nil, locked },
	})
	require.ErrorIs(t, err, locked)
}

func TestASocketThatIsNotOursToUse(t *testing.T) {
	t.Parallel()
	if os.Geteuid() == 0 {
		t.Skip("root may use every socket")
	}
	dir, err := os.MkdirTemp("", "nj")
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "nightjar.sock")
	l, err := net.Listen("unix", path)
	require.NoError(t, err)
	defer l.Close()
	require.NoError(t, os.Chmod(path, 0))
	_, err = client.Open(t.Context(), client.Options{Socket: path})
	require.ErrorContains(t, err, "permission denied")
	assert.True(t, strings.Contains(err.Error(), path))
}
