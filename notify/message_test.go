package notify_test

import (
	"bytes"
	"flag"
	"os"
	"testing"
	"time"

	"nightjar/notify"
	"nightjar/notify/notifytest"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// Others read these lines: a change here breaks them unless it only adds.
func TestMessageIsFixed(t *testing.T) {
	ring := notifytest.Alert("main", 41)
	again := notifytest.Alert("main", 42)
	again.Repeats, again.N, again.Quality = ring.ID, 2, rise.TimeSynced
	fault := rise.Alert{
		ID: "attic-5f0c11de-43", Kind: rise.AlertFault, Level: rise.LevelWarning, Station: "crate", Quality: rise.TimeUnknown,
		Text: "The distance sensor does not answer.\n\"Check\" its cable.", N: 1,
	}
	var got bytes.Buffer
	for _, a := range []rise.Alert{ring, again, fault} {
		got.Write(notify.NewMessage(a).JSON())
		got.WriteByte('\n')
	}
	const golden = "testdata/messages.jsonl"
	if *update {
		require.NoError(t, os.WriteFile(golden, got.Bytes(), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), got.String())
}

func TestMessageWithATimeThatJSONCannotHold(t *testing.T) {
	a := notifytest.Alert("main", 1)
	a.Issued.Wall = time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC)
	assert.Contains(t, string(notify.NewMessage(a).JSON()), `"time":null`)
}
