package machine_test

import (
	"context"
	"net"
	"path/filepath"
	"strconv"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/machine"
)

func TestBootID_IsTrimmedAndChecked(t *testing.T) {
	t.Parallel()
	const path = "proc/sys/kernel/random/boot_id"
	id, err := machine.BootID(fstest.MapFS{path: {Data: []byte("3f1c8a52-6a6e-4a39-9c3f-0d8f5b7a2c11\n")}})
	require.NoError(t, err)
	assert.Equal(t, "3f1c8a52-6a6e-4a39-9c3f-0d8f5b7a2c11", id)

	_, err = machine.BootID(fstest.MapFS{path: {Data: []byte("abc\n")}})
	require.ErrorContains(t, err, "too short")
	_, err = machine.BootID(fstest.MapFS{})
	require.ErrorContains(t, err, "ProcSubset=pid hides it")
}

func TestClockSynced_IsTheFileThatTimesyncdTouches(t *testing.T) {
	t.Parallel()
	assert.False(t, machine.ClockSynced(fstest.MapFS{}))
	assert.True(t, machine.ClockSynced(fstest.MapFS{"run/systemd/timesync/synchronized": {}}))
}

func TestClock_SleepEndsWithTheContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var c machine.Clock
		begin := time.Now()
		require.NoError(t, c.Sleep(t.Context(), time.Hour))
		assert.Equal(t, time.Hour, time.Since(begin))
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		require.ErrorIs(t, c.Sleep(ctx, time.Hour), context.DeadlineExceeded)
		require.NoError(t, c.Sleep(t.Context(), -time.Second))
	})
}

func TestClock_BootTimeMovesForward(t *testing.T) {
	t.Parallel()
	var c machine.Clock
	a := c.Boot()
	assert.Positive(t, a)
	assert.GreaterOrEqual(t, c.Boot(), a)
}

func TestSupervisor_SpeaksToTheSocketInTheEnvironment(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "notify")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	defer l.Close()
	env := map[string]string{"NOTIFY_SOCKET": path, "WATCHDOG_USEC": "60000000"}
	s := machine.NewSupervisor(func(k string) string { return env[k] })
	assert.Equal(t, time.Minute, s.Watchdog())
	require.NoError(t, s.Ready("watching main"))
	require.NoError(t, s.Alive())
	require.NoError(t, s.Stopping())
	for _, want := range []string{"READY=1\nSTATUS=watching main", "WATCHDOG=1", "STOPPING=1"} {
		b := make([]byte, 200)
		n, err := l.Read(b)
		require.NoError(t, err)
		assert.Equal(t, want, string(b[:n]))
	}
}

func TestSupervisor_WithoutOneIsSilent(t *testing.T) {
	t.Parallel()
	s := machine.NewSupervisor(func(string) string { return "" })
	assert.Zero(t, s.Watchdog())
	assert.NoError(t, s.Ready(""))
}

func TestSupervisor_IgnoresAWatchdogMeantForAnotherProcess(t *testing.T) {
	t.Parallel()
	env := map[string]string{"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": strconv.Itoa(1)}
	assert.Zero(t, machine.NewSupervisor(func(k string) string { return env[k] }).Watchdog())
}
