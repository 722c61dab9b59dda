package notify

import (
	"context"
	"errors"
	"time"

	"nightjar/rise"
)

// Sender hands one alert to a peer.
type Sender interface {
	// Send returns nil when the peer has acknowledged the alert. Any error means that it may or may not have arrived;
	// the same alert is then sent again under the same id. It is called from one goroutine at a time.
	Send(ctx context.Context, a rise.Alert) error
}

// What a Sender's error may wrap. Any other error means: try again after a back-off.
var (
	// ErrAway: there is no link to the peer, nothing was tried. The route is kicked when the link is back.
	ErrAway = errors.New("no link")
	// ErrRefused: the peer answered that it does not take this alert as it is. It is tried a few times more, then given
	// up, so that it does not stand in the way of the next.
	ErrRefused = errors.New("refused")
	// ErrUnproven: the alert was handed over, but to a peer whose word proves nothing. It is delivered once Confirm is
	// called, and sent again after Again.
	ErrUnproven = errors.New("not acknowledged by a receiver yet")
)

// RetryAfter is an error of a Sender whose peer said when to come back.
type RetryAfter struct {
	// After is how long the peer asked to wait.
	After time.Duration
	Err   error
}

// Error is the peer's trouble.
func (e *RetryAfter) Error() string { return e.Err.Error() }

// Unwrap returns the peer's trouble.
func (e *RetryAfter) Unwrap() error { return e.Err }
