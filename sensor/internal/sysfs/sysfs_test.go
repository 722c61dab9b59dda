package sysfs

import (
	"context"
	"io/fs"
	"math"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"nightjar/sensor"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// failing is a folder in which every file fails.
type failing struct{ err error }

func (f failing) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "read", Path: name, Err: f.err}
}

func TestReadClassesErrors(t *testing.T) {
	t.Parallel()
	for errno, want := range map[syscall.Errno]error{
		syscall.ENOENT: sensor.ErrAbsent, syscall.ENODEV: sensor.ErrAbsent, syscall.ENXIO: sensor.ErrAbsent, 121: sensor.ErrAbsent,
		syscall.EIO: sensor.ErrBadValue, syscall.EAGAIN: sensor.ErrTimeout, syscall.ETIMEDOUT: sensor.ErrTimeout,
		syscall.EACCES: sensor.ErrBus, syscall.EBUSY: sensor.ErrBus,
	} {
		_, err := Read(failing{errno}, "x")
		require.ErrorIs(t, err, want, errno)
		require.ErrorIs(t, err, errno, "the cause is kept")
	}
	text, err := Read(fstest.MapFS{"x": {Data: []byte("7\n")}}, "x")
	require.NoError(t, err)
	assert.Equal(t, "7\n", string(text))
}

func TestNumbers(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]int{"20687\n": 20_687, "-62\n": -62, "0": 0} {
		got, err := Int([]byte(text))
		require.NoError(t, err, text)
		assert.Equal(t, want, got)
	}
	for text, want := range map[string]error{"": sensor.ErrAbsent, "\n": sensor.ErrAbsent, "20.6": sensor.ErrBadValue, "99999999999": sensor.ErrBadValue} {
		_, err := Int([]byte(text))
		require.ErrorIs(t, err, want, text)
	}
	for text, want := range map[string]float64{"0.001000\n": 0.001, "123\n": 123, "-3.5": -3.5} {
		got, err := Float([]byte(text))
		require.NoError(t, err, text)
		assert.InDelta(t, want, got, 1e-12)
	}
	for text, want := range map[string]error{"": sensor.ErrAbsent, "NaN": sensor.ErrBadValue, "+Inf": sensor.ErrBadValue, "1,5": sensor.ErrBadValue} {
		_, err := Float([]byte(text))
		require.ErrorIs(t, err, want, text)
	}
}

func FuzzNumbers(f *testing.F) {
	f.Add([]byte("20687\n"))
	f.Add([]byte(" -62"))
	f.Add([]byte("0.001000"))
	f.Fuzz(func(t *testing.T, text []byte) {
		if _, err := Int(text); err == nil {
			assert.Regexp(t, `^[+-]?[0-9]+$`, strings.TrimSpace(string(text)))
		}
		if v, err := Float(text); err == nil {
			assert.False(t, math.IsNaN(v) || math.IsInf(v, 0))
		}
	})
}

func TestCallIsBoundedAndLeavesNothing(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var c Call[int]
		v, err := c.Do(t.Context(), time.Second, func() int { return 7 })
		require.NoError(t, err)
		assert.Equal(t, 7, v)

		hang := make(chan struct{})
		began := time.Now()
		for range 3 {
			_, err = c.Do(t.Context(), time.Second, func() int { <-hang; return 8 })
			require.ErrorIs(t, err, sensor.ErrTimeout)
		}
		assert.Equal(t, time.Second, time.Since(began))
		close(hang)
		synctest.Wait()
		v, err = c.Do(t.Context(), time.Second, func() int { return 9 })
		require.NoError(t, err)
		assert.Equal(t, 9, v, "the late 8 is thrown away")

		ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
		defer cancel()
		hang = make(chan struct{})
		_, err = c.Do(ctx, time.Second, func() int { <-hang; return 8 })
		require.ErrorIs(t, err, context.DeadlineExceeded)
		close(hang)
	})
}
