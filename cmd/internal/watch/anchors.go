package watch

import (
	"sync"
	"time"

	"nightjar/rise"
)

const (
	// step is the change of wall − boot time between two looks that counts as the clock having been set. The two wander
	// apart by milliseconds at most while it is not.
	step = 500 * time.Millisecond
	// anchorEvery is how often an anchor is noted while nothing happens, so that slow drift is followed.
	anchorEvery = time.Hour
)

// anchors decides when the tie between boot time and wall time is worth noting.
type anchors struct {
	mu     sync.Mutex
	noted  bool
	at     time.Duration
	synced bool
	zero   time.Time
}

// observe reports whether an anchor is due, and whether it moves the times of earlier readings: the clock was stepped,
// or has become synchronised.
func (k *anchors) observe(a rise.Anchor) (due, moved bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	zero := a.Wall.Add(-a.At)
	stepped := k.noted && zero.Sub(k.zero).Abs() > step
	first := a.Synced && !k.synced
	k.zero = zero
	due = !k.noted || stepped || first || a.At-k.at >= anchorEvery
	moved = k.noted && (stepped || first)
	if due {
		k.noted, k.at = true, a.At
	}
	k.synced = a.Synced
	return due, moved
}
