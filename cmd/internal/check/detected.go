package check

import (
	"fmt"
	"os"
	"slices"
	"strings"

	"nightjar/cmd/internal/config"
	"nightjar/sensor/detect"
	"nightjar/sensor/ds18b20"
)

// detected tells what is connected, whether it is configured or not: what answers on the stations' buses, and sensors that
// drivers of the kernel have. Where a ranger is there that no station reads, the remedy is the lines for it.
func (m *Machine) detected() []Finding {
	if m.Live != "" || m.Scan == nil {
		return nil
	}
	var r detect.Report
	r.Look(os.DirFS(m.at("/sys")))
	var found []Finding
	for _, n := range m.busNumbers() {
		b := m.Scan(n, m.addresses(n)...)
		r.Buses = append(r.Buses, b)
		found = append(found, m.onBus(b, r.Probes))
	}
	if kernels := (detect.Report{Kernel: r.Kernel, Room: r.Room}).Lines(); len(kernels) > 0 {
		found = append(found, ok("the kernel's sensors", "%s", strings.Join(kernels, "; ")))
	}
	return found
}

// onBus is what was found on one bus.
func (m *Machine) onBus(b detect.Bus, probes []ds18b20.Info) Finding {
	r := detect.Report{Buses: []detect.Bus{b}}
	name, text := fmt.Sprintf("on I2C bus %d", b.Number), strings.Join(r.Lines(), "; ")
	r.Probes = probes
	strangers := slices.DeleteFunc(r.Rangers(), m.known)
	if len(strangers) > 0 {
		return warn(name, "for every distance sensor found, the configuration's lines are:\n"+r.Config(), "%s", text)
	}
	return ok(name, "%s", text)
}

// known reports whether some station reads a ranger.
func (m *Machine) known(f detect.Found) bool {
	return slices.ContainsFunc(m.Config.Stations, func(s config.Station) bool {
		return s.Bus == f.Bus && s.Mux.Address == f.Mux && s.Mux.Channel == f.Channel && s.Address == f.Address &&
			(s.Chip == config.ChipAuto || s.Chip == f.Chip)
	})
}

// busNumbers lists the stations' buses that are there.
func (m *Machine) busNumbers() []int {
	var numbers []int
	for _, s := range m.Config.Stations {
		if !slices.Contains(numbers, s.Bus) && m.exists(fmt.Sprintf("/dev/i2c-%d", s.Bus)) {
			numbers = append(numbers, s.Bus)
		}
	}
	return numbers
}

// addresses lists the addresses that stations on a bus have.
func (m *Machine) addresses(bus int) []uint16 {
	var addrs []uint16
	for _, s := range m.Config.Stations {
		if s.Bus == bus {
			addrs = append(addrs, s.Address)
		}
	}
	return addrs
}
