package machine

import (
	"context"
	"time"

	"golang.org/x/sys/unix"

	"nightjar/sensor"
)

// Clock is the machine's own clock.
type Clock struct{}

// Wall implements sensor.Clock.
func (Clock) Wall() time.Time { return time.Now().UTC() }

// Boot implements sensor.Clock: CLOCK_BOOTTIME, which counts suspended time and never steps.
func (Clock) Boot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		// Every kernel since 2.6.39 has it; without it nothing could be stamped.
		panic("CLOCK_BOOTTIME: " + err.Error())
	}
	return time.Duration(ts.Nano())
}

// Sleep implements sensor.Clock. It counts monotonic time, so that setting the wall clock neither shortens nor
// lengthens it.
func (Clock) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil || d <= 0 {
		return err
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

var _ sensor.Clock = Clock{}
