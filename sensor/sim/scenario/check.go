package scenario

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Check refuses a scenario that cannot be built, naming the station or the fault (counted from 1) at fault.
func (s Scenario) Check() error {
	switch {
	case s.Start.IsZero():
		return errors.New(`start is missing: write it as 2026-10-16T20:30:00+02:00`)
	case s.Length <= 0 || s.Length > 14*24*time.Hour:
		return fmt.Errorf("length %v is not between 0 and 14 days", s.Length)
	case !(s.Target > 1 && s.Target < 10):
		return fmt.Errorf("target %g is not between 1 and 10", s.Target)
	case len(s.Room) == 0:
		return errors.New("no [[room]]: the kitchen needs a temperature")
	case len(s.Setups) == 0:
		return errors.New("no [[station]]")
	}
	return errors.Join(s.checkRoom(), s.checkSetups(), s.checkFaults())
}

func (s Scenario) checkRoom() error {
	for i, r := range s.Room {
		if i > 0 && r.At <= s.Room[i-1].At {
			return fmt.Errorf("room %d: at %v does not come after %v", i+1, r.At, s.Room[i-1].At)
		}
		if !(r.C >= -10 && r.C <= 45 && r.RH >= 0 && r.RH <= 100) {
			return fmt.Errorf("room %d: %g °C with %g %% humidity is no kitchen", i+1, r.C, r.RH)
		}
	}
	return nil
}

// nameRE is what stations and jars may be called: their names stand in topics and paths.
var nameRE = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,31}$`)

func (s Scenario) checkSetups() error {
	names, places := map[string]bool{}, map[string]bool{}
	for _, u := range s.Setups {
		if err := u.check(); err != nil {
			return fmt.Errorf("station %q: %w", u.Name, err)
		}
		place := fmt.Sprintf("bus %d, mux 0x%02x channel %d, address 0x%02x", u.Bus, u.Mux, u.Channel, u.Address)
		if names[u.Name] || places[place] {
			return fmt.Errorf("station %q: another station has its name or its place (%s)", u.Name, place)
		}
		names[u.Name], places[place] = true, true
	}
	return nil
}

func (u Setup) check() error {
	switch {
	case !nameRE.MatchString(u.Name):
		return errors.New("name: use 1 to 32 of a-z, 0-9, - and _, beginning with a letter or a digit")
	case !nameRE.MatchString(u.Jar.Name):
		return fmt.Errorf("jar %q: name it with 1 to 32 of a-z, 0-9, - and _, beginning with a letter or a digit", u.Jar.Name)
	case !slices.Contains(Chips(), u.Chip):
		return fmt.Errorf("chip %q is unknown: it is one of %s", u.Chip, strings.Join(Chips(), ", "))
	case u.Address < 0x08 || u.Address > 0x77:
		return fmt.Errorf("address 0x%02x is no 7-bit address", u.Address)
	case u.Mux != 0 && (u.Mux < 0x70 || u.Mux > 0x77 || u.Channel < 0 || u.Channel > 7):
		return fmt.Errorf("mux 0x%02x channel %d: want 0x70 to 0x77 and 0 to 7", u.Mux, u.Channel)
	case !(u.Jar.FloorMM > u.Dough.BaseMM && u.Jar.FloorMM < 2000 && u.Jar.DiameterMM > 0):
		return fmt.Errorf("jar: floor_mm %g must be more than the dough's %g", u.Jar.FloorMM, u.Dough.BaseMM)
	case !(u.Reflect > 0 && u.Reflect <= 1.5 && u.AmbientMcps >= 0):
		return fmt.Errorf("optics: reflect %g, ambient_mcps %g", u.Reflect, u.AmbientMcps)
	}
	return u.Dough.Check()
}

func (s Scenario) checkFaults() error {
	for i, f := range s.Faults {
		if err := s.checkFault(f); err != nil {
			return fmt.Errorf("fault %d: %w", i+1, err)
		}
	}
	return nil
}

func (s Scenario) checkFault(f Fault) error {
	k, ok := kinds[f.Kind]
	switch {
	case !ok:
		return fmt.Errorf("kind %q is unknown: it is one of %s", f.Kind, strings.Join(Kinds(), ", "))
	case k.lasting && f.For == 0:
		return fmt.Errorf("%s needs a for", f.Kind)
	}
	u, err := s.setup(f.Station)
	if err != nil {
		return err
	}
	if k.wire != 0 && u.probe(f.Probe) == "" {
		return fmt.Errorf("station %q has no %q probe: probe is jar, dough or room", u.Name, f.Probe)
	}
	return nil
}

// setup finds a station by its name; "" is the only one.
func (s Scenario) setup(name string) (Setup, error) {
	if name == "" && len(s.Setups) == 1 {
		return s.Setups[0], nil
	}
	for _, u := range s.Setups {
		if u.Name == name {
			return u, nil
		}
	}
	return Setup{}, fmt.Errorf("no station %q", name)
}

// probe is the id of the probe at a place, "" if there is none.
func (u Setup) probe(place string) string {
	return map[string]string{"jar": u.JarProbe, "dough": u.DoughProbe, "room": u.RoomProbe}[place]
}
