package check

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"nightjar/cmd/internal/config"
	"nightjar/sensor"
	"nightjar/sensor/ambient"
	"nightjar/sensor/ds18b20"
)

// probes looks for the stations' thermometers on the 1-wire bus.
func (m *Machine) probes() []Finding {
	wire := ds18b20.New(os.DirFS(m.at(ds18b20.Root)), nil, nil)
	present, err := wire.IDs()
	var found []Finding
	named, missing := m.named(present)
	auto := slices.ContainsFunc(m.Config.Stations, func(s config.Station) bool { return s.JarProbe == config.ProbeAuto })
	switch {
	case len(named) == 0 && !auto:
		return nil
	case errors.Is(err, sensor.ErrBus) && len(named) > 0:
		return append(found, fail("1-wire bus", m.wireRemedy(), "the kernel shows no 1-wire bus"))
	case err != nil:
		return append(found, warn("1-wire bus", m.wireRemedy(), "the kernel shows no 1-wire bus: without a probe no forecast knows the temperature"))
	}
	for _, id := range missing {
		found = append(found, fail("probe "+id, "check its cable (data on GPIO4, 4.7 kΩ to 3.3 V), or change its id in the configuration", "not on the bus; there is %s", list(present)))
	}
	if auto {
		found = append(found, m.autoProbe(present, named))
	}
	if len(found) == 0 {
		found = append(found, ok("probes", "%s", list(named)))
	}
	return found
}

// named lists the probes that the configuration names, and those of them that are not there.
func (m *Machine) named(present []string) (named, missing []string) {
	for _, s := range m.Config.Stations {
		for _, id := range []string{s.JarProbe, s.DoughProbe, s.RoomProbe} {
			if !strings.HasPrefix(id, "28-") || slices.Contains(named, id) { // auto, none, or a sensor of the kernel's
				continue
			}
			named = append(named, id)
			if !slices.Contains(present, id) {
				missing = append(missing, id)
			}
		}
	}
	return named, missing
}

// autoProbe looks for the one probe that is not named.
func (m *Machine) autoProbe(present, named []string) Finding {
	rest := slices.DeleteFunc(slices.Clone(present), func(id string) bool { return slices.Contains(named, id) })
	switch len(rest) {
	case 0:
		return warn("jar's probe", `plug one in (data on GPIO4, 4.7 kΩ to 3.3 V), or write jar_probe = "none"`, "no probe on the bus: without one no forecast knows the temperature")
	case 1:
		return ok("jar's probe", "%s", rest[0])
	}
	return fail("jar's probe", fmt.Sprintf("name it in the configuration, such as jar_probe = %q", rest[0]), "several probes are on the bus: %s", list(rest))
}

func (m *Machine) wireRemedy() string {
	if boot := m.bootConfig(); boot != "" && !m.hasLine(boot, `^dtoverlay=w1-gpio`) {
		return "add the line dtoverlay=w1-gpio to " + boot + " and reboot"
	}
	return "sudo modprobe w1-gpio w1-therm; on a Pi, dtoverlay=w1-gpio in config.txt and a reboot"
}

func list(ids []string) string {
	if len(ids) == 0 {
		return "none"
	}
	return strings.Join(ids, ", ")
}

// room looks for the rooms' sensors that drivers of the kernel have.
func (m *Machine) room() []Finding {
	present := ambient.List(os.DirFS(m.at(ambient.Root)))
	var found []Finding
	var seen []string
	for _, s := range m.Config.Stations {
		name := s.RoomProbe
		if name == config.ProbeNone || strings.HasPrefix(name, "28-") || slices.Contains(seen, name) {
			continue
		}
		seen = append(seen, name)
		if slices.ContainsFunc(present, func(d ambient.Device) bool { return d.Name == name }) {
			found = append(found, ok("room sensor "+name, "shown by the kernel"))
			continue
		}
		found = append(found, fail("room sensor "+name, "load its driver (dtoverlay=i2c-sensor and its name in config.txt), or write room_probe = \"none\"",
			"the kernel shows no such sensor; it shows %v", present))
	}
	return found
}
