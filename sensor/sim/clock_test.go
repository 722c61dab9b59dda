package sim

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var evening = time.Date(2026, 3, 6, 20, 0, 0, 0, time.UTC)

func TestClockJumpsForASingleLoop(t *testing.T) {
	t.Parallel()
	c := NewClock(evening, time.Hour)
	require.NoError(t, c.Sleep(t.Context(), 12*time.Hour))
	assert.Equal(t, 13*time.Hour, c.Boot())
	assert.Equal(t, evening.Add(12*time.Hour), c.Wall())
}

func TestClockWaitsForEveryLoop(t *testing.T) {
	t.Parallel()
	c := NewClock(evening, 0)
	var mu sync.Mutex
	var order []time.Duration
	loop := func(step time.Duration, times int) func() {
		leave := c.Join()
		return func() {
			defer leave()
			for range times {
				assert.NoError(t, c.Sleep(context.Background(), step))
				mu.Lock()
				order = append(order, c.Boot())
				mu.Unlock()
			}
		}
	}
	var wg sync.WaitGroup
	slow, fast := loop(7*time.Second, 20), loop(3*time.Second, 50)
	wg.Go(slow)
	wg.Go(fast)
	wg.Wait()
	assert.Equal(t, 150*time.Second, c.Boot())
	require.Len(t, order, 70)
	assert.IsNonDecreasing(t, order)
}

func TestClockCancelledSleepEndsWithoutMovingTheClock(t *testing.T) {
	t.Parallel()
	c := NewClock(evening, 0)
	defer c.Join()()
	defer c.Join()() // a second loop that stays awake: the clock cannot jump
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- c.Sleep(ctx, time.Hour) }()
	cancel()
	require.ErrorIs(t, <-done, context.Canceled)
	assert.Zero(t, c.Boot())
	assert.Empty(t, c.sleepers)
}

func TestClockHoldStopsTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(evening, 0)
		release := c.Hold()
		woke := false
		go func() { _ = c.Sleep(context.Background(), time.Second); woke = true }()
		synctest.Wait()
		require.False(t, woke)
		release()
		release()
		synctest.Wait()
		assert.True(t, woke)
		assert.Equal(t, time.Second, c.Boot())
	})
}

func TestClockPaceSleepsReally(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(evening, 0)
		c.Pace(60)
		began := time.Now()
		for range 10 {
			require.NoError(t, c.Sleep(t.Context(), 30*time.Second))
		}
		assert.Equal(t, 5*time.Second, time.Since(began))
		c.Pace(0)
		require.NoError(t, c.Sleep(t.Context(), time.Hour))
		assert.Equal(t, 5*time.Second, time.Since(began))
	})
}

func TestClockWallStepsApartFromBoot(t *testing.T) {
	t.Parallel()
	c := NewClock(time.Unix(0, 0), 0)
	require.NoError(t, c.Sleep(t.Context(), 90*time.Second))
	c.SetWall(evening)
	assert.Equal(t, evening, c.Wall())
	c.StepWall(-24 * time.Hour)
	assert.Equal(t, evening.Add(-24*time.Hour), c.Wall())
	assert.Equal(t, 90*time.Second, c.Boot())
}

func TestClockSleepDoesNotAllocate(t *testing.T) {
	c := NewClock(evening, 0)
	ctx := context.Background()
	assert.Zero(t, testing.AllocsPerRun(100, func() { _ = c.Sleep(ctx, time.Second) }))
}
