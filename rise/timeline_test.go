package rise

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestStampsAreOrderedByBootThenTime(t *testing.T) {
	a, b, c := Stamp{1, time.Hour}, Stamp{1, 2 * time.Hour}, Stamp{2, time.Second}
	assert.True(t, a.Before(b) && b.Before(c) && a.Before(c))
	assert.False(t, a.Before(a))
	assert.Zero(t, b.Compare(b))
	assert.Positive(t, c.Compare(a))
	assert.True(t, Stamp{}.IsZero())
	assert.False(t, c.IsZero())
}

func anchor(boot uint32, at time.Duration, wall string, synced bool) Anchor {
	w, err := time.Parse(time.RFC3339, wall)
	if err != nil {
		panic(err)
	}
	return Anchor{Stamp: Stamp{boot, at}, Wall: w, Synced: synced}
}

func TestAnUnsetClockIsMendedOnceItIsSet(t *testing.T) {
	// A board without a clock chip wakes up in the past; the network's time comes after 90 s.
	before := NewTimeline([]Anchor{anchor(3, 10*time.Second, "2031-01-01T00:00:10Z", false)})
	s := Stamp{3, 40 * time.Second}
	wall, q := before.Wall(s)
	assert.Equal(t, "2031-01-01T00:00:40Z", wall.Format(time.RFC3339))
	assert.Equal(t, TimeEstimated, q)
	after := NewTimeline([]Anchor{
		anchor(3, 10*time.Second, "2031-01-01T00:00:10Z", false),
		anchor(3, 90*time.Second, "2031-03-08T19:10:00Z", true),
	})
	wall, q = after.Wall(s)
	assert.Equal(t, "2031-03-08T19:09:10Z", wall.Format(time.RFC3339))
	assert.Equal(t, TimeSynced, q)
	wall, q = after.Wall(Stamp{4, time.Second})
	assert.True(t, wall.IsZero())
	assert.Equal(t, TimeUnknown, q)
	r := Reading{Stamp: s}
	after.Date(&r)
	assert.Equal(t, TimeSynced, r.Quality)
	assert.Equal(t, "2031-03-08T19:09:10Z", r.Time.Format(time.RFC3339))
}

func TestTheNearestSyncedAnchorCounts(t *testing.T) {
	// The boot's clock runs 36 s slow within ten hours: 1 in 1000.
	tl := NewTimeline([]Anchor{
		anchor(1, 10*time.Hour, "2031-03-09T05:00:36Z", true),
		anchor(1, 0, "2031-03-08T19:00:00Z", true),
		anchor(1, 5*time.Hour, "2031-06-01T00:00:00Z", false),
	})
	wall, _ := tl.Wall(Stamp{1, time.Hour})
	assert.Equal(t, "2031-03-08T20:00:00Z", wall.Format(time.RFC3339))
	wall, _ = tl.Wall(Stamp{1, 9 * time.Hour})
	assert.Equal(t, "2031-03-09T04:00:36Z", wall.Format(time.RFC3339))
	wall, _ = tl.Wall(Stamp{1, 20 * time.Hour})
	assert.Equal(t, "2031-03-09T15:00:36Z", wall.Format(time.RFC3339))
}

func TestOfUnsyncedAnchorsTheLatestCounts(t *testing.T) {
	tl := NewTimeline([]Anchor{
		anchor(1, time.Minute, "2031-03-08T19:00:00Z", false),
		anchor(1, time.Hour, "2031-03-08T21:00:00Z", false),
	})
	wall, q := tl.Wall(Stamp{1, 2 * time.Minute})
	assert.Equal(t, "2031-03-08T20:02:00Z", wall.Format(time.RFC3339))
	assert.Equal(t, TimeEstimated, q)
}

func TestAWallTimeFindsItsBoot(t *testing.T) {
	tl := NewTimeline([]Anchor{
		anchor(1, time.Hour, "2031-03-08T19:00:00Z", true),
		anchor(2, time.Minute, "2031-03-08T23:01:00Z", true),
	})
	for wall, want := range map[string]Stamp{
		"2031-03-08T18:00:00Z": {1, 0},
		"2031-03-08T20:15:00Z": {1, 2*time.Hour + 15*time.Minute},
		"2031-03-08T22:59:59Z": {1, 4*time.Hour + 59*time.Minute + 59*time.Second}, // between the boots
		"2031-03-08T23:00:00Z": {2, 0},
		"2031-03-09T00:00:00Z": {2, time.Hour},
	} {
		w, err := time.Parse(time.RFC3339, wall)
		require.NoError(t, err)
		s, ok := tl.Stamp(w)
		require.True(t, ok, wall)
		assert.Equal(t, want, s, wall)
	}
	early, _ := time.Parse(time.RFC3339, "2031-03-08T17:59:59Z")
	_, ok := tl.Stamp(early)
	assert.False(t, ok)
	_, ok = Timeline{}.Stamp(early)
	assert.False(t, ok)
}

// TestStampAndWallAreInverse draws boots with one synchronised offset each.
func TestStampAndWallAreInverse(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	begin := nightStart
	var anchors []Anchor
	for boot := uint32(1); boot <= 20; boot++ {
		for range 1 + r.IntN(3) {
			at := time.Duration(r.IntN(3600)) * time.Second
			anchors = append(anchors, Anchor{Stamp: Stamp{boot, at}, Wall: begin.Add(at), Synced: true})
		}
		begin = begin.Add(2 * time.Hour)
	}
	r.Shuffle(len(anchors), func(i, j int) { anchors[i], anchors[j] = anchors[j], anchors[i] })
	tl := NewTimeline(anchors)
	for range 1000 {
		s := Stamp{uint32(1 + r.IntN(20)), time.Duration(r.IntN(7200)) * time.Second}
		wall, q := tl.Wall(s)
		require.Equal(t, TimeSynced, q)
		back, ok := tl.Stamp(wall)
		require.True(t, ok)
		require.Equal(t, s, back)
	}
}
