package prose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTypedTimes(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/Vienna")
	require.NoError(t, err)
	now := time.Date(2026, 3, 4, 22, 30, 0, 0, zone)
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, zone) }
	past := map[string]time.Time{
		"20:15": at(4, 20, 15), "23:15": at(3, 23, 15), "8:05": at(4, 8, 5), "now": now,
		"yesterday 20:15": at(3, 20, 15), " Today  20:15": at(4, 20, 15),
		"25m ago": at(4, 22, 5), "-25m": at(4, 22, 5), "1h 30m ago": at(4, 21, 0),
		"2026-03-02 20:15": at(2, 20, 15), "2026-03-02T20:15": at(2, 20, 15), "2026-03-02T20:15:00Z": at(2, 21, 15),
	}
	for word, want := range past {
		got, err := Past(word, now)
		require.NoError(t, err, word)
		assert.True(t, want.Equal(got), "%s: %v", word, got)
	}
	ahead := map[string]time.Time{
		"07:00": at(5, 7, 0), "23:00": at(4, 23, 0), "22:30": at(5, 22, 30), "tomorrow 07:00": at(5, 7, 0),
		"in 8h": at(5, 6, 30), "+8h": at(5, 6, 30), "2026-03-06 07:00": at(6, 7, 0),
	}
	for word, want := range ahead {
		got, err := Ahead(word, now)
		require.NoError(t, err, word)
		assert.True(t, want.Equal(got), "%s: %v", word, got)
	}
}

// The day on which clocks go forward has no 02:30: the time package takes the hour after it, and the span is real time.
func TestTypedTimesAcrossAClockChange(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/Vienna")
	require.NoError(t, err)
	now := time.Date(2026, 3, 29, 6, 0, 0, 0, zone) // clocks went from 02:00 to 03:00 that night
	got, err := Past("22:00", now)
	require.NoError(t, err)
	assert.Equal(t, 7*time.Hour, now.Sub(got))
}

func TestTimesThatAreNone(t *testing.T) {
	t.Parallel()
	for _, word := range []string{"", "25:00", "8 pm", "20.15", "in 25m", "+25m", "later", "2026-13-01 10:00", "ago", "-"} {
		_, err := Past(word, evening)
		var e *TimeError
		require.ErrorAs(t, err, &e, word)
		assert.Contains(t, e.Hint(), "20:15")
	}
	_, err := Ahead("25m ago", evening)
	require.Error(t, err)
}
