package demo_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"

	"nightjar/cmd/internal/demo"
	"nightjar/notify"
	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/sim"
	"nightjar/sensor/sim/scenario"
	"nightjar/sensor/vl53l4cd"
	"nightjar/store"
)

func ranger(_ string, bus i2c.Bus, address uint16, clock sensor.Clock) (sensor.Ranger, error) {
	return vl53l4cd.New(bus, address, &vl53l4cd.Opts{Clock: clock})
}

// screen is where a demo writes; it may call back at a word.
type screen struct {
	mu   sync.Mutex
	buf  bytes.Buffer
	at   string
	then func()
}

func (s *screen) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.then != nil && bytes.Contains(b, []byte(s.at)) {
		s.then()
	}
	return s.buf.Write(b)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.buf.String()
}

// received reads the alerts that the phone printed.
func received(t *testing.T, out string) (all []notify.Message) {
	t.Helper()
	for line := range strings.Lines(out) {
		topic, payload, ok := strings.Cut(strings.TrimSpace(line), " ")
		if !ok || !strings.HasPrefix(topic, "nightjar/demo/") || !strings.HasPrefix(payload, "{") {
			continue
		}
		var m notify.Message
		require.NoError(t, json.Unmarshal([]byte(payload), &m), line)
		all = append(all, m)
	}
	return all
}

func ready(all []notify.Message) (rung []notify.Message) {
	for _, m := range all {
		if m.Kind == rise.AlertReady {
			rung = append(rung, m)
		}
	}
	return rung
}

// quiet is the default night without its mishaps.
func quiet() scenario.Scenario {
	s := scenario.Default()
	s.Faults = nil
	return s
}

func TestRun_RingsThePhoneWhenTheDoughHasDoubled(t *testing.T) {
	t.Parallel()
	for name, s := range map[string]scenario.Scenario{"quiet": quiet(), "with mishaps": scenario.Default()} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			out := &screen{}
			require.NoError(t, demo.Run(t.Context(), demo.Options{Scenario: s, Once: true, Out: out, Ranger: ranger, Zone: time.UTC}))
			rung := ready(received(t, out.String()))
			require.Len(t, rung, 1, "%s", out)
			require.NotNil(t, rung[0].Time)
			truth := trueMultiple(t, s, *rung[0].Time) // of the sample or its main dough, whichever is further
			assert.True(t, truth > 0.95*s.Target && truth < 1.1*s.Target, "rung at ×%.2f in truth\n%s", truth, out)
			assert.Contains(t, out.String(), "Summary at")
			assert.NotContains(t, out.String(), "\r", "no live line where the output is no terminal")
		})
	}
}

// trueMultiple is the simulated sample's true multiple at a time.
func trueMultiple(t *testing.T, s scenario.Scenario, at time.Time) float64 {
	t.Helper()
	w, err := s.Build(sim.NewClock(s.Start, time.Minute), t.TempDir())
	require.NoError(t, err)
	truth := w.Stations[0].True(at.Sub(s.Start))
	return max(truth.Multiple, truth.MainMultiple)
}

func TestRun_AKilledDemoGoesOnWhereItWas(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	ctx, kill := context.WithCancel(t.Context())
	first := &screen{at: "21:30", then: kill}
	err := demo.Run(ctx, demo.Options{Scenario: quiet(), Once: true, Dir: dir, Out: first, Ranger: ranger, Zone: time.UTC})
	require.NoError(t, err)
	assert.Empty(t, ready(received(t, first.String())))

	second := &screen{}
	require.NoError(t, demo.Run(t.Context(), demo.Options{Scenario: quiet(), Once: true, Dir: dir, Out: second, Ranger: ranger, Zone: time.UTC}))
	assert.NotContains(t, second.String(), "21:00 ", "it does not begin anew")
	require.Len(t, ready(received(t, second.String())), 1, "%s", second)

	db, err := store.Open(filepath.Join(dir, "nightjar.db"), store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer db.Close()
	runs, err := db.Runs()
	require.NoError(t, err)
	assert.Len(t, runs, 1, "one run, carried on")
	c, err := db.Case(1)
	require.NoError(t, err)
	last := c.Readings[0]
	for _, r := range c.Readings[1:] {
		require.True(t, last.Before(r.Stamp), "time runs forward")
		require.Less(t, r.At-last.At, 2*time.Minute, "no gap at the kill")
		last = r
	}
}

func TestRun_ANightThatNeverDoublesEndsInAnError(t *testing.T) {
	t.Parallel()
	s := quiet()
	s.Setups[0].Dough.Vigour = 0.1
	s.Length = 8 * time.Hour
	out := &screen{}
	err := demo.Run(t.Context(), demo.Options{Scenario: s, Once: true, Out: out, Ranger: ranger, Zone: time.UTC})
	require.ErrorIs(t, err, demo.ErrNotReached, "%s", out)
	assert.Contains(t, out.String(), "never reaches ×2 in this night")
	assert.Empty(t, ready(received(t, out.String())))
}

func TestRun_RefusesAFolderThatIsNotItsOwn(t *testing.T) {
	t.Parallel()
	options := func(dir string) demo.Options {
		return demo.Options{Scenario: quiet(), Once: true, Dir: dir, Out: &screen{}, Ranger: ranger}
	}
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "nightjar.db"), []byte("somebody's store"), 0o644))
	require.ErrorContains(t, demo.Run(t.Context(), options(dir)), "choose another folder")

	dir = t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "demo.json"), []byte(`{"scen`), 0o644))
	require.ErrorContains(t, demo.Run(t.Context(), options(dir)), "to begin anew")

	dir = t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "demo.json"), fmt.Appendf(nil, `{"scenario":"Another loaf","seed":1,"boot_id":"x"}`), 0o644))
	require.ErrorContains(t, demo.Run(t.Context(), options(dir)), "Another loaf")
}

func TestRun_SaysWhatStopsItFromStarting(t *testing.T) {
	t.Parallel()
	broken := errors.New("no driver")
	err := demo.Run(t.Context(), demo.Options{Scenario: quiet(), Out: &screen{}, Ranger: func(string, i2c.Bus, uint16, sensor.Clock) (sensor.Ranger, error) {
		return nil, broken
	}})
	require.ErrorIs(t, err, broken)
	require.ErrorContains(t, err, "station main")
}

func TestRun_OnATerminalALineIsKeptUpToDate(t *testing.T) {
	t.Parallel()
	out := &screen{}
	require.NoError(t, demo.Run(t.Context(), demo.Options{Scenario: quiet(), Once: true, Live: true, Out: out, Ranger: ranger, Zone: time.UTC}))
	assert.Contains(t, out.String(), "\r")
	assert.Contains(t, out.String(), "[##")
	assert.NotContains(t, out.String(), "settling: there is no base level yet\n", "it is wiped, not left behind")
}
