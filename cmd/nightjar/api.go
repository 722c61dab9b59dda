package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/client"
	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/desk"
	"nightjar/cmd/internal/machine"
	"nightjar/cmd/internal/web"
	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/store"
)

// access is what a command does to the store where it has to open it itself.
type access int

const (
	// reads leaves the store as it is; there must be one.
	reads access = iota
	// writes changes the store; there must be one.
	writes
	// makes changes the store, and makes it where there is none.
	makes
)

// api calls f with a client: of the running service, or of a handler over the store opened here.
func (p *program) api(ctx context.Context, a access, f func(*client.Client) error) error {
	cfg, err := p.config()
	if err != nil {
		return err
	}
	local := func(context.Context) (http.Handler, func() error, error) { return p.local(cfg, a) }
	c, err := client.Open(ctx, client.Options{Socket: p.places.socket(cfg), Local: local})
	if err != nil {
		return err
	}
	return errors.Join(f(c), c.Close())
}

// call calls one path of the API.
func (p *program) call(ctx context.Context, a access, path string, in, out any, args ...string) error {
	return p.api(ctx, a, func(c *client.Client) error { return c.Call(ctx, path, in, out, args...) })
}

// local opens the store and makes the handler that the service would have.
func (p *program) local(cfg config.Config, a access) (http.Handler, func() error, error) {
	path := p.places.store(cfg)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) && a != makes {
		return nil, nil, &hinted{fmt.Errorf("there is no store at %s yet, and the service is not running", path),
			"add a jar (nightjar jars add) or start the service; --store and --socket say where else to look"}
	}
	db, err := store.Open(path, store.Options{Device: cfg.Device.Name, ReadOnly: a == reads})
	if errors.Is(err, store.ErrLocked) {
		return nil, nil, &hinted{fmt.Errorf("%w, and nothing answers on %s", err, p.places.socket(cfg)),
			"the service may just be starting, or listens elsewhere (--socket); systemctl status nightjar says how it is"}
	}
	if err != nil {
		return nil, nil, err
	}
	if a != reads {
		err := db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: db.Boot(), At: machine.Clock{}.Boot()}, Wall: machine.Clock{}.Wall(), Synced: machine.ClockSynced(os.DirFS("/"))})
		if err != nil {
			return nil, nil, errors.Join(err, db.Close())
		}
	}
	lent := &lentSensors{configured: cfg.Stations}
	d := &desk.Desk{
		Store: db, Sensors: lent, Clock: machine.Clock{}, Device: cfg.Device.Name, Version: version(), Stations: cfg.Stations, Alerts: cfg.Alerts,
	}
	return web.NewHandler(d, nil), func() error { return errors.Join(lent.close(), db.Close()) }, nil
}

// lentSensors opens a station's distance sensor when it is first asked for: for a calibration without the service.
type lentSensors struct {
	configured []config.Station
	hw         *hardware
	opened     map[string]sensor.Ranger
}

// Burst implements desk.Burster.
func (l *lentSensors) Burst(ctx context.Context, station string, n int) (rise.Burst, error) {
	if l.hw == nil {
		l.hw, l.opened = newHardware(machine.Clock{}), map[string]sensor.Ranger{}
		stations, err := l.hw.stations(l.configured)
		if err != nil {
			return rise.Burst{}, err
		}
		for _, s := range stations {
			l.opened[s.Name] = s.Ranger
		}
	}
	r, ok := l.opened[station]
	if !ok {
		return rise.Burst{}, fmt.Errorf("the sensor of station %s could not be opened", station)
	}
	return r.Range(ctx, n)
}

// close puts the sensors to rest and closes their buses.
func (l *lentSensors) close() error {
	if l.hw == nil {
		return nil
	}
	var errs []error
	for _, r := range l.opened {
		errs = append(errs, r.Halt())
	}
	return errors.Join(append(errs, l.hw.close())...)
}

// hinted is an error with what to do about it.
type hinted struct {
	err    error
	remedy string
}

func (h *hinted) Error() string { return h.err.Error() }

// Unwrap returns the cause.
func (h *hinted) Unwrap() error { return h.err }

// Hint says what to do about it.
func (h *hinted) Hint() string { return h.remedy }

// storeRemedy is the remedy of an error of the store.
func storeRemedy(err error) string {
	if h, ok := errors.AsType[*store.Hint](err); ok {
		return h.Remedy
	}
	if e, ok := errors.AsType[*fs.PathError](err); ok && errors.Is(err, fs.ErrPermission) {
		return fmt.Sprintf("run it with sudo, or as a user who may use %s", filepath.Dir(e.Path))
	}
	if e, ok := errors.AsType[*fs.PathError](err); ok && errors.Is(err, fs.ErrNotExist) {
		return fmt.Sprintf("is %s spelt right?", e.Path)
	}
	return ""
}

// format is the flag --format of a command that prints data.
type format string

// The formats.
const (
	formatText format = "text"
	formatJSON format = "json"
)

func (f *format) flag(cmd *cobra.Command) {
	*f = formatText
	cmd.Flags().Var(f, "format", "text or json")
	_ = cmd.RegisterFlagCompletionFunc("format", cobra.FixedCompletions([]string{"text", "json"}, cobra.ShellCompDirectiveNoFileComp))
}

// String implements pflag.Value.
func (f *format) String() string { return string(*f) }

// Type implements pflag.Value.
func (f *format) Type() string { return "format" }

// Set implements pflag.Value.
func (f *format) Set(s string) error {
	if s != string(formatText) && s != string(formatJSON) {
		return errors.New("text or json")
	}
	*f = format(s)
	return nil
}

// print writes v as JSON, or as text writes it.
func (p *program) print(f format, v any, text func()) error {
	if f == formatJSON {
		e := json.NewEncoder(p.stdout)
		e.SetIndent("", "  ")
		return e.Encode(v)
	}
	text()
	return nil
}

// save writes a file whole or not at all: under another name first, then in its place.
func save(path string, write func(w io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already once it was renamed
	if err := errors.Join(write(f), f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
