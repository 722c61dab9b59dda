package ds18b20

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"sync"
	"time"

	"nightjar/sensor"
)

// Root is where the kernel shows its 1-wire devices.
const Root = "/sys/bus/w1/devices"

var idPattern = regexp.MustCompile(`^28-[0-9a-f]{12}$`)

// Opts are the settings of a Bus. The zero value of each is its default.
type Opts struct {
	// Timeout bounds one reading, in real time, because what it bounds is the kernel; 0 is 5 s. The kernel itself tries
	// each step up to five times.
	Timeout time.Duration
	// Replaced is called from Temperature, once, when a probe is read from another sensor than before. Nil is nobody.
	Replaced func(was, now string)
}

// Bus is the folder of the 1-wire devices. It is safe for concurrent use.
type Bus struct {
	files fs.FS
	clock sensor.Clock
	opts  Opts

	mu     sync.Mutex
	probes []*Probe
}

// Open returns the Bus of this machine. Nothing is read yet.
func Open(clock sensor.Clock, opts *Opts) *Bus { return New(os.DirFS(Root), clock, opts) }

// New returns a Bus that reads the files of a folder like Root. Nil opts are the defaults. Nothing is read yet.
func New(files fs.FS, clock sensor.Clock, opts *Opts) *Bus {
	b := &Bus{files: files, clock: clock}
	if opts != nil {
		b.opts = *opts
	}
	if b.opts.Timeout <= 0 {
		b.opts.Timeout = 5 * time.Second
	}
	return b
}

// Probe returns the probe with an id such as 28-0316a2795cff, as the kernel writes it, or with "" the only sensor that no
// other probe of this Bus has. Nothing is read yet: an id that is not on the bus shows at the first reading.
func (b *Bus) Probe(id string) (*Probe, error) {
	id = strings.ToLower(id)
	if id != "" && !idPattern.MatchString(id) {
		return nil, fmt.Errorf("probe id %q: want 28- and twelve hex digits, as in the names below %s", id, Root)
	}
	p := &Probe{bus: b, want: id, id: id, beside: map[string]bool{}}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.probes = append(b.probes, p)
	return p, nil
}

// IDs lists the sensors that are on the bus now, in order. It returns ErrBus if this machine has no 1-wire bus.
func (b *Bus) IDs() ([]string, error) {
	entries, err := fs.ReadDir(b.files, ".")
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("1-wire: no such folder: enable it with dtoverlay=w1-gpio in config.txt: %w", sensor.ErrBus)
	case err != nil:
		return nil, fmt.Errorf("1-wire: %w: %w", err, sensor.ErrBus)
	}
	var ids []string
	for _, e := range entries {
		if idPattern.MatchString(e.Name()) {
			ids = append(ids, e.Name())
		}
	}
	return ids, nil
}

// taken reports whether a probe other than p has or wants the sensor.
func (b *Bus) taken(id string, p *Probe) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, o := range b.probes {
		if o != p && (o.want == id || o.id == id) {
			return true
		}
	}
	return false
}

// free returns those of the sensors that no other probe has and that were never seen beside p's own.
func (b *Bus) free(present []string, p *Probe) []string {
	var ids []string
	for _, id := range present {
		if !p.beside[id] && !b.taken(id, p) {
			ids = append(ids, id)
		}
	}
	return ids
}
