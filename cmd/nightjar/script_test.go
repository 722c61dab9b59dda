package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"nightjar": main})
}

// Each script in testdata/script tries one subcommand: its help, a wrong flag, the good case and the failing case. A
// script finds the store below $HOME, the shipped recordings in $RECORDINGS, and no service.
func TestScript(t *testing.T) {
	recordings, err := filepath.Abs("../../testdata/recordings")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			home := filepath.Join(e.WorkDir, "home")
			e.Setenv("HOME", home)
			e.Setenv("TZ", "UTC")
			e.Setenv("XDG_RUNTIME_DIR", filepath.Join(e.WorkDir, "run"))
			e.Setenv("STATE_DIRECTORY", filepath.Join(e.WorkDir, "state"))
			e.Setenv("RUNTIME_DIRECTORY", filepath.Join(e.WorkDir, "run"))
			e.Setenv("RECORDINGS", recordings)
			return os.MkdirAll(home, 0o755)
		},
	})
}
