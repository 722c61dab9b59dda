package main

import (
	"bufio"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A demo that was killed outright in the night goes on there and rings once.
func TestDemoKilledOutrightGoesOn(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	first := exec.Command("nightjar", "demo", "--once", "--speed", "7200", "--dir", dir)
	first.Env = append(first.Environ(), "TZ=UTC")
	out, err := first.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, first.Start())
	var seen strings.Builder
	for lines := bufio.NewScanner(out); lines.Scan(); {
		seen.WriteString(lines.Text() + "\n")
		if strings.HasPrefix(lines.Text(), "22:00 ") {
			break
		}
	}
	require.NoError(t, first.Process.Kill())
	require.Error(t, first.Wait())
	require.Contains(t, seen.String(), "22:00 ")
	assert.NotContains(t, seen.String(), "READY")

	second := exec.Command("nightjar", "demo", "--once", "--dir", dir)
	second.Env = append(second.Environ(), "TZ=UTC")
	rest, err := second.CombinedOutput()
	require.NoError(t, err, "%s", rest)
	assert.NotContains(t, string(rest), "\n19:30 ", "it does not begin anew")
	assert.Equal(t, 1, strings.Count(string(rest), "READY"), "%s", rest)
}
