//go:build chaos

package mqtt

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// With the waits of a real device: after an outage long enough for the longest wait, the link is back within 5 s.
func TestReconnectsWithinFiveSecondsOfTheBrokersReturn(t *testing.T) {
	s := newStub(t)
	c, _ := newClient(t, s.addr, nil)
	c.waits = usual
	run(t, c)
	s.waitFor("birth", func() bool { return len(s.payloads(available)) == 1 })
	s.stop()
	time.Sleep(15 * time.Second) // the outage
	s.start()
	began := time.Now()
	s.waitFor("second birth", func() bool { return len(s.payloads(available)) == 2 })
	t.Logf("back after %v", time.Since(began))
	assert.Less(t, time.Since(began), 5*time.Second)
}

// A flood of 1,000 commands a second does not disturb whoever must act in time.
func TestFloodDoesNotDisturbATicker(t *testing.T) {
	s, k, _ := commanded(t, func(c *Client) { c.waits = usual })
	stop, done := make(chan struct{}), make(chan int)
	go func() {
		sent := 0
		defer func() { done <- sent }()
		tick := time.NewTicker(10 * time.Millisecond)
		defer tick.Stop()
		began := time.Now()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				for sent < int(time.Since(began).Milliseconds()) { // 1,000 a second, also after a late tick
					s.send("nightjar/attic/main/command", fmt.Appendf(nil, `{"id":"f%d","kind":"note"}`, sent), false)
					sent++
				}
			}
		}
	}()
	var late []time.Duration
	next := time.Now()
	for range 300 { // 3 s
		next = next.Add(10 * time.Millisecond)
		time.Sleep(time.Until(next))
		late = append(late, time.Since(next))
	}
	close(stop)
	sent := <-done
	slices.Sort(late)
	most := late[len(late)*99/100] // of one in a hundred a busy machine itself is the cause
	t.Logf("%d commands sent, %d done; ticks late by median %v, 99 %% %v, at most %v", sent, len(k.all()), late[len(late)/2], most, late[len(late)-1])
	require.Greater(t, sent, 2500)
	assert.Less(t, len(k.all()), 50)
	assert.Less(t, most, 50*time.Millisecond)
}
