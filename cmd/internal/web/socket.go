package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"sync"
	"time"
)

// Listen listens on a unix socket that the owner and the owner's group may use. A socket left behind by a process that
// is gone is replaced; anything else in its place is left alone and is an error.
func Listen(path string) (net.Listener, error) {
	if len(path) > longest {
		return nil, &pathError{fmt.Sprintf("listen on %s: the path is longer than %d bytes", path, longest), "choose a shorter one with --socket"}
	}
	if err := clear(path); err != nil {
		return nil, err
	}
	// The socket is made under a name nobody knows, and takes its own once its mode is set.
	making := fmt.Sprintf("%s.%d", path, os.Getpid())
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: making, Net: "unix"})
	if err != nil {
		return nil, fmt.Errorf("listen on %s: %w", path, err)
	}
	l.SetUnlinkOnClose(false)
	if err := errors.Join(os.Chmod(making, 0o660), os.Rename(making, path)); err != nil {
		l.Close()
		os.Remove(making)
		return nil, fmt.Errorf("listen on %s: %w", path, err)
	}
	return &socket{UnixListener: l, path: path}, nil
}

// longest is the longest path of a socket: the kernel's 107 bytes (unix(7)) less the end of the name it is made under.
const longest = 96

// socket is a listener that takes its file with it.
type socket struct {
	*net.UnixListener
	path string
	once sync.Once
}

// Close implements net.Listener. The file is removed first, so that a successor's is never hit.
func (s *socket) Close() error {
	s.once.Do(func() { os.Remove(s.path) })
	return s.UnixListener.Close()
}

// clear removes a dead socket.
func clear(path string) error {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("listen on %s: %w", path, err)
	case info.Mode().Type() != fs.ModeSocket:
		return &pathError{fmt.Sprintf("listen on %s: something that is no socket is there", path), "move it away, or choose another path with --socket"}
	}
	if c, err := net.Dial("unix", path); err == nil {
		c.Close()
		return &pathError{fmt.Sprintf("listen on %s: another nightjar answers there", path), "stop it first, or give this one another --socket and --store"}
	}
	return os.Remove(path)
}

// pathError is an error with what to do about it.
type pathError struct{ msg, remedy string }

func (e *pathError) Error() string { return e.msg }

// Hint says what to do about it.
func (e *pathError) Hint() string { return e.remedy }

// shutdownTime bounds how long open requests may take once the daemon stops.
const shutdownTime = time.Second

// Serve answers requests on l with h until ctx ends, then closes l, waits a second for open requests and returns nil.
func Serve(ctx context.Context, l net.Listener, h http.Handler, log *slog.Logger) error {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	s := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      2 * time.Minute, // a year's export on the smallest board
		IdleTimeout:       time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	stopped := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(stopped)
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTime)
		defer cancel()
		if s.Shutdown(end) != nil {
			s.Close()
		}
	})
	err := s.Serve(l)
	if !stop() {
		<-stopped
	}
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return fmt.Errorf("serve the API: %w", err)
}
