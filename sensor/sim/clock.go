package sim

import (
	"container/heap"
	"context"
	"sync"
	"time"

	"nightjar/sensor"
)

// Clock is a sensor.Clock that jumps to the next wake-up as soon as every loop sleeps, so that a night passes as fast
// as the work in it can be done. It is safe for concurrent use.
//
// A goroutine that sleeps on the clock while others do so too must have joined it: the clock waits for every loop that
// joined. A single goroutine, as in most tests, need not join.
type Clock struct {
	mu       sync.Mutex
	boot     time.Duration
	zero     time.Time // the wall time at boot time 0
	sleepers sleepers
	spare    []*sleeper // for reuse, so that sleeping does not allocate
	loops    int
	holds    int

	pace     float64 // simulated seconds a real second; 0 is as fast as possible
	from     time.Time
	fromBoot time.Duration
	timer    *time.Timer // the real wait for the next wake-up, if one is under way
}

// NewClock returns a clock whose machine booted the given time ago and whose wall clock shows wall.
func NewClock(wall time.Time, boot time.Duration) *Clock {
	return &Clock{boot: boot, zero: wall.UTC().Add(-boot)}
}

// Wall implements sensor.Clock.
func (c *Clock) Wall() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.zero.Add(c.boot)
}

// Boot implements sensor.Clock.
func (c *Clock) Boot() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.boot
}

// SetWall sets the wall clock, as the network does some time after boot. Boot time does not move.
func (c *Clock) SetWall(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.zero = t.UTC().Add(-c.boot)
}

// StepWall steps the wall clock by d, back if d is negative. Boot time does not move.
func (c *Clock) StepWall(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.zero = c.zero.Add(d)
}

// Join makes the clock wait for one more loop. The loop, or whoever started it, calls leave when it has ended; calling
// it again does nothing.
func (c *Clock) Join() (leave func()) { return c.count(&c.loops) }

// Hold stops the clock until release is called, which may be called again without effect. Loops that are awake run on.
func (c *Clock) Hold() (release func()) { return c.count(&c.holds) }

// count raises one of the counters under the lock and returns what lowers it again.
func (c *Clock) count(n *int) (lower func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	*n++
	return sync.OnceFunc(func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		*n--
		c.advance()
	})
}

// Pace sets how many simulated seconds pass in a real one; 0, which is where a clock begins, is as many as can.
func (c *Clock) Pace(x float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.timer != nil {
		c.timer.Stop()
		c.timer = nil
	}
	c.pace, c.from, c.fromBoot = max(0, x), time.Now(), c.boot
	c.advance()
}

// Sleep implements sensor.Clock.
func (c *Clock) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil || d <= 0 {
		return err
	}
	c.mu.Lock()
	s := c.sleeper(c.boot + d)
	heap.Push(&c.sleepers, s)
	c.advance()
	c.mu.Unlock()
	var err error
	select {
	case <-s.wake:
	case <-ctx.Done():
		err = ctx.Err()
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if err != nil {
		if s.index >= 0 {
			heap.Remove(&c.sleepers, s.index)
		} else {
			<-s.wake // it was woken in the same moment
		}
	}
	c.spare = append(c.spare, s)
	return err
}

// sleeper returns a sleeper, a used one if there is one.
func (c *Clock) sleeper(at time.Duration) *sleeper {
	if n := len(c.spare); n > 0 {
		s := c.spare[n-1]
		c.spare = c.spare[:n-1]
		s.at = at
		return s
	}
	return &sleeper{at: at, wake: make(chan struct{}, 1)}
}

// advance jumps to the next wake-up if everyone sleeps and nothing holds the clock. It is called with the lock held.
func (c *Clock) advance() {
	if c.holds > 0 || len(c.sleepers) == 0 || len(c.sleepers) < c.loops || c.timer != nil {
		return
	}
	next := c.sleepers[0].at
	if c.pace > 0 {
		due := c.from.Add(time.Duration(float64(next-c.fromBoot) / c.pace))
		if wait := time.Until(due); wait > 0 {
			c.timer = time.AfterFunc(wait, c.ring)
			return
		}
	}
	c.boot = max(c.boot, next)
	for len(c.sleepers) > 0 && c.sleepers[0].at <= c.boot {
		heap.Pop(&c.sleepers).(*sleeper).wake <- struct{}{}
	}
}

// ring ends a real wait. Whether the clock may still jump is decided anew.
func (c *Clock) ring() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.timer = nil
	c.advance()
}

// sleeper is one call of Sleep. Its index is its place in the heap, -1 once it was woken.
type sleeper struct {
	at    time.Duration
	index int
	wake  chan struct{}
}

// sleepers is a heap of those who sleep, the next to wake first.
type sleepers []*sleeper

func (s sleepers) Len() int           { return len(s) }
func (s sleepers) Less(i, j int) bool { return s[i].at < s[j].at }
func (s sleepers) Swap(i, j int) {
	s[i], s[j] = s[j], s[i]
	s[i].index, s[j].index = i, j
}

// Push implements heap.Interface.
func (s *sleepers) Push(x any) {
	e := x.(*sleeper)
	e.index = len(*s)
	*s = append(*s, e)
}

// Pop implements heap.Interface.
func (s *sleepers) Pop() any {
	n := len(*s) - 1
	e := (*s)[n]
	e.index = -1
	*s = (*s)[:n]
	return e
}

var _ sensor.Clock = (*Clock)(nil)
