// Package buzzer sounds a buzzer on a GPIO pin: a route for those without a network. An active buzzer, which needs no
// tone, hangs between the pin and ground, through a transistor if it draws more than the few milliamperes that a pin can
// give.
//
// A buzzer cannot tell whether anybody heard it. An alert is delivered once it has been sounded; that somebody answers
// is what repeated rings are for.
package buzzer

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"nightjar/notify"
	"nightjar/rise"

	"periph.io/x/conn/v3/gpio"
)

// Pattern is a row of beeps.
type Pattern struct {
	On, Off time.Duration
	Count   int
}

// longest bounds a pattern: a route waits for it.
const longest = 25 * time.Second

func (p Pattern) lasts() time.Duration { return time.Duration(p.Count) * (p.On + p.Off) }

// Options are what a Buzzer is made of.
type Options struct {
	// Name is the route's name, for errors.
	Name string
	// Pin is driven high to sound, or low with ActiveLow.
	Pin       gpio.PinOut
	ActiveLow bool
	// Wakes and Warning are sounded at these levels; a zero one is 20 beeps in 14 s, and one short beep. A quiet alert
	// makes no sound.
	Wakes, Warning Pattern
}

// Buzzer is a notify.Sender.
type Buzzer struct {
	o Options

	mu     sync.Mutex
	silent chan struct{} // closed to end what sounds now; nil while nothing does
}

var _ notify.Sender = (*Buzzer)(nil)

// New checks the options and turns the buzzer off.
func New(o Options) (*Buzzer, error) {
	if o.Pin == nil {
		return nil, fmt.Errorf("buzzer %s: no pin", o.Name)
	}
	if o.Wakes == (Pattern{}) {
		o.Wakes = Pattern{On: 400 * time.Millisecond, Off: 300 * time.Millisecond, Count: 20}
	}
	if o.Warning == (Pattern{}) {
		o.Warning = Pattern{On: 100 * time.Millisecond, Off: 100 * time.Millisecond, Count: 1}
	}
	for _, p := range []Pattern{o.Wakes, o.Warning} {
		if p.On < 0 || p.Off < 0 || p.Count < 0 || p.lasts() > longest {
			return nil, fmt.Errorf("buzzer %s: a pattern of %v: use at most %v", o.Name, p.lasts(), longest)
		}
	}
	b := &Buzzer{o: o}
	if err := b.set(false); err != nil {
		return nil, err
	}
	return b, nil
}

// Send sounds the alert. It returns when the pattern is over, or at once after Silence.
func (b *Buzzer) Send(ctx context.Context, a rise.Alert) error {
	var p Pattern
	switch a.Level {
	case rise.LevelWakes:
		p = b.o.Wakes
	case rise.LevelWarning:
		p = b.o.Warning
	}
	silent := make(chan struct{})
	b.mu.Lock()
	b.silent = silent
	b.mu.Unlock()
	err := b.sound(ctx, p, silent)
	b.mu.Lock()
	b.silent = nil
	b.mu.Unlock()
	return errors.Join(err, b.set(false))
}

func (b *Buzzer) sound(ctx context.Context, p Pattern, silent <-chan struct{}) error {
	for i := range 2 * p.Count {
		on := i%2 == 0
		if err := b.set(on); err != nil {
			return err
		}
		wait := p.Off
		if on {
			wait = p.On
		}
		select {
		case <-time.After(wait):
		case <-silent:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// Silence ends what sounds now: somebody has answered.
func (b *Buzzer) Silence() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.silent != nil {
		close(b.silent)
		b.silent = nil
	}
}

func (b *Buzzer) set(on bool) error {
	if err := b.o.Pin.Out(gpio.Level(on != b.o.ActiveLow)); err != nil {
		return fmt.Errorf("buzzer %s on %s: %w", b.o.Name, b.o.Pin, err)
	}
	return nil
}
