package machine

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"time"
)

// Supervisor is the service manager that started this process, if one did (sd_notify(3)). Its zero value is none: all
// its methods then do nothing.
type Supervisor struct {
	socket   string
	interval time.Duration
}

// NewSupervisor finds the supervisor in the environment.
func NewSupervisor(getenv func(string) string) Supervisor {
	s := Supervisor{socket: getenv("NOTIFY_SOCKET")}
	if us, err := strconv.ParseInt(getenv("WATCHDOG_USEC"), 10, 64); err == nil && us > 0 {
		if pid := getenv("WATCHDOG_PID"); pid == "" || pid == strconv.Itoa(os.Getpid()) {
			s.interval = time.Duration(us) * time.Microsecond
		}
	}
	return s
}

// Watchdog is the longest time that may pass between two calls of Alive; 0 if nobody waits for them.
func (s Supervisor) Watchdog() time.Duration { return s.interval }

// Ready tells that the daemon does its work; Alive that its loop moves; Stopping that it is about to end.
func (s Supervisor) Ready(status string) error { return s.tell("READY=1\nSTATUS=" + status) }

// Alive tells that the loop moves.
func (s Supervisor) Alive() error { return s.tell("WATCHDOG=1") }

// Stopping tells that the daemon is about to end.
func (s Supervisor) Stopping() error { return s.tell("STOPPING=1") }

func (s Supervisor) tell(state string) error {
	if s.socket == "" {
		return nil
	}
	c, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: s.socket, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("tell the service manager: %w", err)
	}
	defer c.Close()
	_, err = c.Write([]byte(state))
	return err
}
