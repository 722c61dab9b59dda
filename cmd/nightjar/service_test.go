package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/api"
)

// service is a running nightjar watch, without any sensor, in a folder of its own.
type service struct {
	dir    string
	stop   context.CancelFunc
	ended  chan error
	getenv func(string) string
}

func startService(t *testing.T) *service {
	t.Helper()
	dir, err := os.MkdirTemp("", "nj") // a short path: a socket's is limited
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	config := fmt.Sprintf("[mqtt]\nlisten = %q\n[[station]]\njar_probe = \"none\"\n", free.Addr())
	require.NoError(t, free.Close())
	require.NoError(t, os.WriteFile(filepath.Join(dir, "nightjar.toml"), []byte(config), 0o600))
	env := map[string]string{"STATE_DIRECTORY": dir, "RUNTIME_DIRECTORY": dir, "HOME": dir}
	s := &service{dir: dir, ended: make(chan error, 1), getenv: func(k string) string { return env[k] }}
	var ctx context.Context
	ctx, s.stop = context.WithCancel(t.Context())
	out, log := io.Pipe()
	go func() {
		s.ended <- s.run(ctx, io.Discard, log, "watch")
		log.Close()
	}()
	ready := bufio.NewScanner(out)
	for ready.Scan() && !strings.Contains(ready.Text(), "msg=watching") {
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	return s
}

func (s *service) run(ctx context.Context, stdout, stderr io.Writer, args ...string) error {
	args = append(args, "--config", filepath.Join(s.dir, "nightjar.toml"))
	return run(ctx, args, s.getenv, strings.NewReader(""), stdout, stderr)
}

func (s *service) says(t *testing.T, args ...string) (stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	require.NoError(t, s.run(t.Context(), &out, &errs, args...), "%v", args)
	return out.String(), errs.String()
}

// A command asks the running service where there is one, and finds the same store without it.
func TestCommandsAskTheRunningServiceOrTheStore(t *testing.T) {
	s := startService(t)
	out, _ := s.says(t, "version", "--format", "json")
	var v struct{ Service *api.Version }
	require.NoError(t, json.Unmarshal([]byte(out), &v))
	require.NotNil(t, v.Service)
	assert.True(t, v.Service.Live)

	s.says(t, "jars", "add", "tall", "--floor-mm", "142", "--diameter-mm", "71.5")
	_, told := s.says(t, "start", "country loaf")
	assert.Contains(t, told, "This run cannot wake you")
	out, _ = s.says(t, "status")
	assert.Contains(t, out, "main: run 1 (country loaf)")
	assert.NotContains(t, out, "nothing is watched")
	out, _ = s.says(t, "export", "1")
	assert.Contains(t, out, `""kind"":""start""`)
	s.says(t, "backup", filepath.Join(s.dir, "copy.db"))
	err := s.run(t.Context(), io.Discard, io.Discard, "store", "check")
	require.ErrorContains(t, err, "the service is running")
	out, _ = s.says(t, "jars", "list", "--store", filepath.Join(s.dir, "copy.db"), "--socket", filepath.Join(s.dir, "none.sock"))
	assert.Contains(t, out, "tall@1")

	// The store is the service's: who does not reach its socket is told so.
	err = s.run(t.Context(), io.Discard, io.Discard, "runs", "--socket", filepath.Join(s.dir, "none.sock"))
	require.ErrorContains(t, err, "another process has the store open, and nothing answers on")
	assert.Contains(t, remedy(err), "--socket")

	begun := time.Now()
	s.stop()
	require.NoError(t, <-s.ended)
	assert.Less(t, time.Since(begun), 2*time.Second)
	out, _ = s.says(t, "status")
	assert.Contains(t, out, "main: run 1 (country loaf)")
	assert.Contains(t, out, "nothing is watched")
	s.says(t, "store", "check")
}
