package main

import (
	"os"
	"path/filepath"

	"github.com/spf13/pflag"

	"nightjar/cmd/internal/config"
)

// The places of an installed service.
const (
	systemConfig  = "/etc/nightjar/nightjar.toml"
	systemState   = "/var/lib/nightjar"
	systemRuntime = "/run/nightjar"
)

// places finds the configuration, the store and the socket: by flag, by the configuration, by the environment.
type places struct {
	configFlag, storeFlag, socketFlag string
	getenv                            func(string) string
}

func (p *places) flags(f *pflag.FlagSet) {
	f.StringVar(&p.configFlag, "config", "", "the configuration (default "+systemConfig+")")
	f.StringVar(&p.storeFlag, "store", "", "the store's file (default nightjar.db in $STATE_DIRECTORY, "+systemState+" or $XDG_STATE_HOME/nightjar)")
	f.StringVar(&p.socketFlag, "socket", "", "the service's socket (default nightjar.sock in $RUNTIME_DIRECTORY, "+systemRuntime+" or $XDG_RUNTIME_DIR)")
}

// config is the configuration's path, and whether it must exist.
func (p *places) config() (string, bool) {
	if p.configFlag != "" {
		return p.configFlag, true
	}
	return systemConfig, false
}

// store is the store's path. The service's own folder is taken where it exists, so that a command started by a person
// finds the same store as the service.
func (p *places) store(c config.Config) string {
	dir := p.first("STATE_DIRECTORY", systemState)
	if dir == "" {
		dir = filepath.Join(p.state(), "nightjar")
	}
	return firstOf(p.storeFlag, c.Store.Path, filepath.Join(dir, "nightjar.db"))
}

// socket is the path of the service's socket. Without any folder for such things it lies beside the store.
func (p *places) socket(c config.Config) string {
	dir := firstOf(p.first("RUNTIME_DIRECTORY", systemRuntime), p.getenv("XDG_RUNTIME_DIR"), filepath.Dir(p.store(c)))
	return firstOf(p.socketFlag, c.Web.Socket, filepath.Join(dir, "nightjar.sock"))
}

// first is the folder that a variable names, or the system's if it exists.
func (p *places) first(variable, system string) string {
	if dir := p.getenv(variable); dir != "" {
		return filepath.SplitList(dir)[0]
	}
	if info, err := os.Stat(system); err == nil && info.IsDir() {
		return system
	}
	return ""
}

// state is the folder for the state of a person's programs (XDG base directory specification).
func (p *places) state() string {
	return firstOf(p.getenv("XDG_STATE_HOME"), filepath.Join(p.getenv("HOME"), ".local", "state"))
}

func firstOf(words ...string) string {
	for _, w := range words {
		if w != "" {
			return w
		}
	}
	return ""
}
