package check

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"

	"golang.org/x/sys/unix"

	"nightjar/cmd/internal/config"
	"nightjar/sensor/detect"
)

// State is how a thing stands.
type State string

// The states. Only Fail keeps nightjar from doing its work.
const (
	OK   State = "ok"
	Warn State = "warn"
	Fail State = "fail"
)

// Finding is how one thing stands.
type Finding struct {
	// Name is what was looked at, constant but for a station's or a bus's name in it.
	Name  string `json:"name"`
	State State  `json:"state"`
	// Text says how it stands, Remedy what to do about it; empty where all is well.
	Text   string `json:"text"`
	Remedy string `json:"remedy,omitempty"`
}

// Machine is what is looked at. The zero value of each function is the real machine's.
type Machine struct {
	// Root is the folder that the machine's files are below; empty is "/".
	Root string
	// Config is the configuration, ConfigPath where it stands, ConfigErr why it cannot be used.
	Config     config.Config
	ConfigPath string
	ConfigErr  error
	// Store and Socket are the paths of the store and of the service's socket.
	Store, Socket string
	// Live is the version of the running service; empty if none answers.
	Live string
	// CanWake tells whether an alert has been shown to reach a person, CanWakeWhy why not. They count only while Live.
	CanWake    bool
	CanWakeWhy string
	// Range reads a station's distance sensor once and says what it saw; nil leaves that out. It is not called while the
	// service, which has the sensors, is running.
	Range func(context.Context, config.Station) (string, error)
	// Scan looks at what answers on a bus, also at further addresses; nil leaves that out. Like Range it is not called while
	// the service is running.
	Scan func(bus int, further ...uint16) detect.Bus
	// Access tells whether this user may read and write a file.
	Access func(path string) error
	// Free is the space left on the disk of a folder, in bytes.
	Free func(dir string) (uint64, error)
	// Dial opens a connection to a broker.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
}

// Run looks at everything and lists what it found, in the order in which it is needed. It changes nothing.
func Run(ctx context.Context, m Machine) []Finding {
	m.fill()
	var found []Finding
	add := func(fs ...Finding) { found = append(found, fs...) }
	add(m.config())
	add(m.buses()...)
	add(m.service()...)
	add(m.detected()...)
	add(m.rangers(ctx)...)
	add(m.probes()...)
	add(m.room()...)
	add(m.broker(ctx)...)
	add(m.clock())
	add(m.disk()...)
	add(m.store())
	return found
}

// Failed reports whether anything keeps nightjar from doing its work.
func Failed(found []Finding) bool {
	return slices.ContainsFunc(found, func(f Finding) bool { return f.State == Fail })
}

func (m *Machine) fill() {
	if m.Root == "" {
		m.Root = "/"
	}
	if m.Access == nil {
		m.Access = func(path string) error { return unix.Access(path, unix.R_OK|unix.W_OK) }
	}
	if m.Free == nil {
		m.Free = free
	}
	if m.Dial == nil {
		m.Dial = (&net.Dialer{}).DialContext
	}
}

func free(dir string) (uint64, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return 0, err
	}
	return st.Bavail * uint64(st.Bsize), nil
}

// at is a path below the root.
func (m *Machine) at(path string) string { return filepath.Join(m.Root, path) }

func (m *Machine) exists(path string) bool {
	_, err := os.Stat(m.at(path))
	return err == nil
}

func ok(name, format string, args ...any) Finding {
	return Finding{Name: name, State: OK, Text: fmt.Sprintf(format, args...)}
}

func warn(name, remedy, format string, args ...any) Finding {
	return Finding{Name: name, State: Warn, Text: fmt.Sprintf(format, args...), Remedy: remedy}
}

func fail(name, remedy, format string, args ...any) Finding {
	return Finding{Name: name, State: Fail, Text: fmt.Sprintf(format, args...), Remedy: remedy}
}

// config says whether the configuration can be used.
func (m *Machine) config() Finding {
	const name = "configuration"
	if m.ConfigErr != nil {
		return fail(name, hint(m.ConfigErr, "mend the line it names"), "%v", m.ConfigErr)
	}
	where := m.ConfigPath
	if _, err := os.Stat(m.ConfigPath); err != nil {
		where = "none at " + m.ConfigPath + ", the defaults are used"
	}
	return ok(name, "%s: %s", where, plural(len(m.Config.Stations), "station"))
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
