package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// FuzzCommandLine types anything after the commands that do not go on for ever: they are done, or refused with an error;
// they never panic, never hang, and touch nothing outside their own folders.
func FuzzCommandLine(f *testing.F) {
	for _, line := range []string{
		"start loaf --jar tall --target 2 --inoculation 15 --at 20:15", "end --run 1", "note a b --dough-c 24", "mark folded", "ack x --snooze 5",
		"status --format json", "runs list", "show 1 --every 5m", "export 1 --format csv", "jars add tall --floor-mm 142 --diameter-mm 71",
		"jars show tall@1", "jars add g --floor-mm 130 --poured 1:2,3:4", "starters add gerta --flours wheat:1", "starters plan gerta --ripe 08:00 --room 20",
		"feed gerta --seed-g 1 --flour-g 1 --water-g 1", "recipes add r flour=500 water=300", "plan --room 20 --ready 07:00", "runs compare 1 2",
		"outcome --run 1 --crumb open", "rebase --level-mm 30", "ignore 01:00 02:00", "version", "--help", "help start", "__complete start --jar ''",
	} {
		f.Add(line)
	}
	dir := f.TempDir()
	env := map[string]string{"STATE_DIRECTORY": dir, "RUNTIME_DIRECTORY": dir, "HOME": dir}
	getenv := func(k string) string { return env[k] }
	f.Fuzz(func(t *testing.T, line string) {
		args := strings.Fields(line)
		if !harmless(args) {
			t.Skip("a command that goes on, or writes a file of its own")
		}
		args = append(args, "--store="+filepath.Join(dir, "nightjar.db"), "--socket="+filepath.Join(dir, "none.sock"))
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		err := run(ctx, args, getenv, strings.NewReader(""), io.Discard, io.Discard)
		require.False(t, errors.Is(err, context.DeadlineExceeded), "%q hangs", line)
		require.Contains(t, []int{exitDone, exitFailed, exitMisuse}, report(io.Discard, err))
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		for _, e := range entries {
			require.True(t, strings.HasPrefix(e.Name(), "nightjar.db"), "%q left %s behind", line, e.Name())
		}
	})
}

// harmless tells that no argument leads to a command that runs on or to a file that is not the store.
func harmless(args []string) bool {
	p := &program{getenv: func(string) string { return "" }}
	cmd, _, err := p.command().Find(args)
	for ; err == nil && cmd != nil; cmd = cmd.Parent() {
		switch cmd.Name() {
		case "watch", "demo", "calibrate", "tare", "check", "backup", "man", "store", "replay", "notify":
			return false
		}
	}
	for _, a := range args {
		// Files are named by these; a lone dash or two would let others through.
		for _, flag := range []string{"--output", "-o", "--config", "--store", "--socket"} {
			if strings.HasPrefix(a, flag) || a == "--" {
				return false
			}
		}
	}
	return true
}
