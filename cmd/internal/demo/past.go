package demo

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"nightjar/sensor/sim/scenario"
	"nightjar/store"
)

// past is where a demo stands in simulated time: what its machine would still know after the program was killed.
type past struct {
	Scenario string        `json:"scenario"`
	Seed     uint64        `json:"seed"`
	BootID   string        `json:"boot_id"`
	Boot     time.Duration `json:"boot"`
	Wall     time.Time     `json:"wall"`
}

// bootedFor is how long the simulated machine has been up when a night begins.
const bootedFor = 3 * time.Minute

func pastFile(dir string) string { return filepath.Join(dir, "demo.json") }

// loadPast finds where the demo in a folder stood, or begins a new one.
func loadPast(dir string, s scenario.Scenario) (past, error) {
	b, err := os.ReadFile(pastFile(dir))
	if errors.Is(err, fs.ErrNotExist) {
		if exists(filepath.Join(dir, "nightjar.db")) {
			return past{}, fmt.Errorf("the folder %s holds a store that no demo left: choose another folder", dir)
		}
		return past{Scenario: s.Name, Seed: s.Seed, BootID: bootID(), Boot: bootedFor, Wall: s.Start}, nil
	}
	if err != nil {
		return past{}, fmt.Errorf("demo folder: %w", err)
	}
	var p past
	if err := json.Unmarshal(b, &p); err != nil || p.BootID == "" {
		return past{}, fmt.Errorf("%s cannot be read: delete the folder %s to begin anew", pastFile(dir), dir)
	}
	if p.Scenario != s.Name || p.Seed != s.Seed {
		return past{}, fmt.Errorf("the folder %s holds the night %q: show that scenario, or choose another folder", dir, p.Scenario)
	}
	return p, p.catchUp(dir, s)
}

// catchUp moves on to the newest stored reading: the note of the time is a little older than the kill.
func (p *past) catchUp(dir string, s scenario.Scenario) error {
	db, err := store.Open(filepath.Join(dir, "nightjar.db"), store.Options{BootID: p.BootID, Device: "demo"})
	if err != nil {
		return err
	}
	for _, st := range s.Setups {
		r, ok, err := db.LastReading(st.Name)
		if err != nil {
			return errors.Join(err, db.Close())
		}
		if ahead := r.At - p.Boot; ok && r.Boot == db.Boot() && ahead >= 0 {
			p.Boot += ahead + time.Second
			p.Wall = p.Wall.Add(ahead + time.Second)
		}
	}
	return db.Close()
}

// keep notes where the night stands, if it is to be kept.
func (n *night) keep() error {
	if n.o.Dir == "" {
		return nil
	}
	p := n.past
	p.Boot, p.Wall = n.clock.Boot(), n.clock.Wall()
	b, err := json.Marshal(p)
	if err != nil {
		return err
	}
	fresh := pastFile(n.dir) + ".new"
	if err := os.WriteFile(fresh, b, 0o644); err != nil {
		return fmt.Errorf("demo folder: %w", err)
	}
	return os.Rename(fresh, pastFile(n.dir))
}

// bootID is one as the kernel makes them.
func bootID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails (crypto/rand)
	h := hex.EncodeToString(b[:])
	return fmt.Sprintf("%s-%s-%s-%s-%s", h[:8], h[8:12], h[12:16], h[16:20], h[20:])
}
