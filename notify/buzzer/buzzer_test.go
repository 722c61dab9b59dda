package buzzer_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"nightjar/notify/buzzer"
	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// pin notes how long it was high.
type pin struct {
	gpiotest.Pin
	mu    sync.Mutex
	fail  error
	since time.Time
	high  time.Duration
	beeps int
}

func (p *pin) Out(l gpio.Level) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fail != nil {
		return p.fail
	}
	switch {
	case bool(l) && !bool(p.L):
		p.since = time.Now()
		p.beeps++
	case !bool(l) && bool(p.L):
		p.high += time.Since(p.since)
	}
	p.L = l
	return nil
}

func (p *pin) level() gpio.Level {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.L
}

func alert(l rise.AlertLevel) rise.Alert { return rise.Alert{ID: "attic-5f0c11de-1", Level: l} }

func TestBuzzerSoundsByLevel(t *testing.T) {
	for level, want := range map[rise.AlertLevel]struct {
		beeps       int
		high, lasts time.Duration
	}{
		rise.LevelWakes:   {20, 8 * time.Second, 14 * time.Second},
		rise.LevelWarning: {1, 100 * time.Millisecond, 200 * time.Millisecond},
		rise.LevelQuiet:   {0, 0, 0},
	} {
		synctest.Test(t, func(t *testing.T) {
			var p pin
			b, err := buzzer.New(buzzer.Options{Name: "kitchen", Pin: &p})
			require.NoError(t, err)
			began := time.Now()
			require.NoError(t, b.Send(t.Context(), alert(level)))
			assert.Equal(t, want.beeps, p.beeps, level)
			assert.Equal(t, want.high, p.high, level)
			assert.Equal(t, want.lasts, time.Since(began), level)
			assert.Equal(t, gpio.Low, p.level())
		})
	}
}

func TestBuzzerIsSilencedAndStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var p pin
		b, err := buzzer.New(buzzer.Options{Name: "kitchen", Pin: &p})
		require.NoError(t, err)
		b.Silence() // nothing sounds
		done := make(chan error, 1)
		go func() { done <- b.Send(t.Context(), alert(rise.LevelWakes)) }()
		time.Sleep(100 * time.Millisecond)
		assert.Equal(t, gpio.High, p.level())
		b.Silence()
		assert.NoError(t, <-done, "somebody has answered")
		assert.Equal(t, gpio.Low, p.level())

		ctx, cancel := context.WithCancel(t.Context())
		go func() { done <- b.Send(ctx, alert(rise.LevelWakes)) }()
		time.Sleep(100 * time.Millisecond)
		cancel()
		assert.ErrorIs(t, <-done, context.Canceled)
		assert.Equal(t, gpio.Low, p.level())
	})
}

func TestBuzzerActiveLowIsHighAtRest(t *testing.T) {
	var p pin
	_, err := buzzer.New(buzzer.Options{Name: "kitchen", Pin: &p, ActiveLow: true})
	require.NoError(t, err)
	assert.Equal(t, gpio.High, p.level())
}

func TestBuzzerErrors(t *testing.T) {
	_, err := buzzer.New(buzzer.Options{Name: "kitchen"})
	assert.ErrorContains(t, err, "no pin")
	p := pin{Pin: gpiotest.Pin{N: "GPIO17"}, fail: errors.New("permission denied")}
	_, err = buzzer.New(buzzer.Options{Name: "kitchen", Pin: &p})
	assert.ErrorContains(t, err, "buzzer kitchen on GPIO17")
	p.fail = nil
	_, err = buzzer.New(buzzer.Options{Name: "kitchen", Pin: &p, Wakes: buzzer.Pattern{On: time.Second, Off: time.Second, Count: 20}})
	assert.ErrorContains(t, err, "use at most 25s")
	b, err := buzzer.New(buzzer.Options{Name: "kitchen", Pin: &p})
	require.NoError(t, err)
	p.fail = errors.New("no such device")
	assert.ErrorContains(t, b.Send(t.Context(), alert(rise.LevelWakes)), "no such device")
}

func Example() {
	b, err := buzzer.New(buzzer.Options{
		Name: "kitchen", Pin: &gpiotest.Pin{N: "GPIO17"}, Wakes: buzzer.Pattern{On: time.Millisecond, Off: time.Millisecond, Count: 3},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(b.Send(context.Background(), rise.Alert{Level: rise.LevelWakes}))
	// Output: <nil>
}
