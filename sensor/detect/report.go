package detect

import (
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"nightjar/sensor/ambient"
	"nightjar/sensor/ds18b20"
	"nightjar/sensor/iio"
)

// Report is what a machine was found to have.
type Report struct {
	Buses []Bus `json:"buses"`
	// Probes are the DS18B20 sensors, ProbeTrouble why there is no 1-wire bus.
	Probes       []ds18b20.Info `json:"probes,omitempty"`
	ProbeTrouble string         `json:"probe_trouble,omitempty"`
	// Kernel are distance sensors, Room hygrometers that drivers of the kernel own.
	Kernel []iio.Device     `json:"kernel,omitempty"`
	Room   []ambient.Device `json:"room,omitempty"`
}

// Look completes a report from the kernel's files below sys, a folder like /sys. Nothing is measured.
func (r *Report) Look(sys fs.FS) {
	r.Room = ambient.List(sys)
	if files, err := fs.Sub(sys, "bus/iio/devices"); err == nil {
		r.Kernel, _ = iio.List(files) // a machine without IIO has none, which is no trouble
	}
	files, err := fs.Sub(sys, "bus/w1/devices")
	if err == nil {
		r.Probes, err = ds18b20.New(files, nil, nil).List()
	}
	if err != nil {
		r.ProbeTrouble = err.Error()
	}
}

// Rangers lists the rangers of all buses that are known, in order of their places.
func (r Report) Rangers() []Found {
	var all []Found
	for _, b := range r.Buses {
		for _, f := range b.Found {
			if f.Chip != "" {
				all = append(all, f)
			}
		}
	}
	slices.SortFunc(all, order)
	return all
}

// Config proposes the lines of a configuration: a station for each ranger, with the one probe where there is only one of
// each. What cannot be decided stands in comments. It is "" where there is no ranger.
func (r Report) Config() string {
	rangers := r.Rangers()
	var b strings.Builder
	for i, f := range rangers {
		name := "main"
		if len(rangers) > 1 {
			name = fmt.Sprintf("spot%d", i+1)
		}
		fmt.Fprintf(&b, "[[station]]\nname = %q\nchip = %q\nbus = %d\n", name, f.Chip, f.Bus)
		if f.Mux != 0 {
			fmt.Fprintf(&b, "mux = \"0x%02x/%d\"\n", f.Mux, f.Channel)
		}
		if f.Address != DefaultAddr {
			fmt.Fprintf(&b, "address = 0x%02x\n", f.Address)
		}
		r.probeLines(&b, len(rangers))
		b.WriteByte('\n')
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// probeLines names the probe, or those to choose from.
func (r Report) probeLines(b *strings.Builder, stations int) {
	switch {
	case len(r.Probes) == 0:
		b.WriteString("jar_probe = \"none\"\n")
	case len(r.Probes) == 1 && stations == 1:
		fmt.Fprintf(b, "jar_probe = %q\n", r.Probes[0].ID)
	default:
		b.WriteString("# jar_probe, dough_probe, room_probe: warm one in the hand to see which is which\n")
		for _, p := range r.Probes {
			fmt.Fprintf(b, "#   %q\n", p.ID)
		}
		if stations > 1 {
			b.WriteString("jar_probe = \"none\"\n")
		}
	}
}

// Lines tells people what was found, a line each.
func (r Report) Lines() []string {
	var lines []string
	for _, b := range r.Buses {
		lines = append(lines, b.lines()...)
	}
	for _, k := range r.Kernel {
		lines = append(lines, fmt.Sprintf("%s: a driver of the kernel has the distance sensor %s; unload it, so that its status can be read", k.Device, k.Name))
	}
	for _, p := range r.Probes {
		lines = append(lines, probeLine(p))
	}
	if r.ProbeTrouble != "" {
		lines = append(lines, "no probes: "+r.ProbeTrouble)
	}
	for _, d := range r.Room {
		lines = append(lines, fmt.Sprintf("room sensor %s at %s", d.Name, d.Folder))
	}
	return lines
}

func (b Bus) lines() []string {
	var lines []string
	for _, addr := range b.Muxes {
		lines = append(lines, fmt.Sprintf("multiplexer at 0x%02x on bus %d", addr, b.Number))
	}
	for _, f := range b.Found {
		what := "something"
		if f.Chip != "" {
			what = strings.ToUpper(f.Chip)
		}
		line := what + " at " + f.String()
		if f.Note != "" {
			line += ": " + f.Note
		}
		lines = append(lines, line)
	}
	switch {
	case b.Trouble != "":
		lines = append(lines, fmt.Sprintf("bus %d: %s", b.Number, b.Trouble))
	case len(b.Found) == 0:
		lines = append(lines, fmt.Sprintf("bus %d: no ranger at 0x29", b.Number))
	}
	return lines
}

// probeLine tells what the kernel says of a probe; what it does not say is left out.
func probeLine(p ds18b20.Info) string {
	line := "probe " + p.ID
	if p.Resolution > 0 {
		line += fmt.Sprintf(", %d bits", p.Resolution)
	}
	if p.External == 0 {
		line += ", without a supply wire (give it one: it may say 127.94 °C otherwise)"
	}
	return line
}
