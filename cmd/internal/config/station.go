package config

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"nightjar/sensor/vl53l0x"
	"nightjar/sensor/vl53l1x"
	"nightjar/sensor/vl53l4cd"
	"nightjar/sensor/vl6180x"
)

func (c *checker) stations(fs []fileStation) []Station {
	if len(fs) == 0 {
		return []Station{defaultStation()}
	}
	stations := make([]Station, 0, len(fs))
	for i, f := range fs {
		key := "station." + strconv.Itoa(i)
		if len(fs) > 1 && f.Name == nil {
			c.fail(key, "has no name", `with several stations each needs a name of its own, such as name = "left"`)
		}
		s := c.station(key, f)
		c.clash(key, s, stations)
		stations = append(stations, s)
	}
	return stations
}

func (c *checker) station(key string, f fileStation) Station {
	d := defaultStation()
	s := Station{
		Name:       c.name(key+".name", f.Name, d.Name),
		Chip:       c.oneOf(key+".chip", f.Chip, d.Chip, Chips),
		Bus:        c.whole(key+".bus", f.Bus, d.Bus, 0, 99),
		Mux:        c.mux(key+".mux", f.Mux),
		Address:    c.address(key+".address", f.Address, DefaultAddress),
		XSHUT:      c.line(key+".xshut", f.XSHUT),
		Interrupt:  c.line(key+".interrupt", f.Interrupt),
		Window:     f.Window != nil && *f.Window,
		Ranges:     c.whole(key+".ranges", f.Ranges, d.Ranges, 1, 200),
		Budget:     c.span(key+".budget", f.Budget, d.Budget, 10*time.Millisecond, time.Second),
		Every:      c.span(key+".every", f.Every, d.Every, time.Second, 10*time.Minute),
		JarProbe:   c.probe(key+".jar_probe", f.JarProbe, d.JarProbe),
		DoughProbe: c.probe(key+".dough_probe", f.DoughProbe, d.DoughProbe),
		RoomProbe:  c.roomProbe(key+".room_probe", f.RoomProbe, d.RoomProbe),
	}
	c.budget(key, s)
	if s.XSHUT != "" && s.XSHUT == s.Interrupt {
		c.fail(key+".interrupt", s.Interrupt+" is the reset line, too", "wire the interrupt to a line of its own, or leave it out")
	}
	if burst := time.Duration(s.Ranges) * s.Budget; burst > s.Every*8/10 {
		c.fail(key+".every", fmt.Sprintf("%d ranges of %v take %v, too long for a tick every %v", s.Ranges, s.Budget, burst, s.Every),
			"lengthen every, or take fewer ranges or a shorter budget: a burst may take at most 80 % of a tick")
	}
	return s
}

// clash refuses a station that shares its name, its ranger's address, its reset line or a probe with an earlier one.
func (c *checker) clash(key string, s Station, earlier []Station) {
	for _, o := range earlier {
		switch {
		case o.Name == s.Name:
			c.fail(key+".name", fmt.Sprintf("two stations are named %q", s.Name), "give each a name of its own")
		case o.Chip == ChipKernel || s.Chip == ChipKernel: // has no place on a bus of ours
		case o.Bus == s.Bus && o.Mux == s.Mux && o.Address == s.Address:
			c.fail(key+".address", fmt.Sprintf("stations %q and %q share address 0x%02x on bus %d", o.Name, s.Name, s.Address, s.Bus),
				"put one on another bus or multiplexer channel, or wire xshut and give it an address of its own, such as 0x2a")
		case o.Bus == s.Bus && o.Mux == s.Mux && (o.XSHUT == "" || s.XSHUT == ""):
			c.fail(key, fmt.Sprintf("stations %q and %q share bus %d without reset lines", o.Name, s.Name, s.Bus),
				"every ranger wakes at 0x29: give each an xshut and an address of its own, or put one on a multiplexer channel")
		case s.Interrupt != "" && (s.Interrupt == o.Interrupt || s.Interrupt == o.XSHUT):
			c.fail(key+".interrupt", fmt.Sprintf("stations %q and %q share %s", o.Name, s.Name, s.Interrupt), "wire each interrupt to a line of its own")
		case o.XSHUT != "" && o.XSHUT == s.XSHUT:
			c.fail(key+".xshut", fmt.Sprintf("stations %q and %q share %s", o.Name, s.Name, s.XSHUT), "wire each ranger's XSHUT to a line of its own")
		}
		c.sharedProbe(key, s, o)
	}
}

// sharedProbe refuses a probe in two jars or two doughs at once; two stations may share the room's.
func (c *checker) sharedProbe(key string, s, o Station) {
	shared := func(a, b string) bool { return a == b && strings.HasPrefix(a, "28-") }
	if shared(s.JarProbe, o.JarProbe) {
		c.fail(key+".jar_probe", fmt.Sprintf("stations %q and %q share probe %s", o.Name, s.Name, s.JarProbe), "each jar needs a probe of its own")
	}
	if s.JarProbe == ProbeAuto && o.JarProbe == ProbeAuto {
		c.fail(key+".jar_probe", "with several stations the jar's probe cannot be found by itself",
			`name it by its id, such as jar_probe = "28-0316a2794c5b", or write "none"; nightjar check lists the probes`)
	}
}

var muxRE = regexp.MustCompile(`^0x(7[0-7])/([0-7])$`)

func (c *checker) mux(key string, v *string) Mux {
	word := strings.ToLower(text(v, ""))
	if word == "" {
		return Mux{}
	}
	m := muxRE.FindStringSubmatch(word)
	if m == nil {
		c.fail(key, fmt.Sprintf("%q is no multiplexer channel", word), `write the multiplexer's address and the channel, from "0x70/0" to "0x77/7"`)
		return Mux{}
	}
	address, _ := strconv.ParseUint(m[1], 16, 16) // both match the expression
	channel, _ := strconv.Atoi(m[2])
	return Mux{Address: uint16(address), Channel: channel}
}

// address checks a 7-bit I2C address that is not reserved (I2C specification UM10204, section 3.1.12).
func (c *checker) address(key string, v *int, d uint16) uint16 {
	if v == nil {
		return d
	}
	if *v < 0x08 || *v > 0x77 {
		c.fail(key, fmt.Sprintf("0x%x is no I2C address", *v), "use the 7-bit address, from 0x08 to 0x77; rangers answer at 0x29 (a data sheet's 0x52 is the same, shifted)")
	}
	return uint16(*v)
}

var lineRE = regexp.MustCompile(`^GPIO([0-9]{1,2})$`)

func (c *checker) line(key string, v *string) string {
	name := strings.ToUpper(text(v, ""))
	if name != "" && !lineRE.MatchString(name) {
		c.fail(key, fmt.Sprintf("%q is no GPIO line", name), `write the line's GPIO number, not the header's pin, such as "GPIO17"`)
	}
	return name
}

var probeRE = regexp.MustCompile(`^28-[0-9a-f]{12}$`)

// probe checks a thermometer's id: family 28 hex, then the serial number, as the kernel's 1-wire bus names it.
func (c *checker) probe(key string, v *string, d string) string {
	id := strings.ToLower(text(v, d))
	if id != ProbeAuto && id != ProbeNone && !probeRE.MatchString(id) {
		c.fail(key, fmt.Sprintf("%q is no probe", id), `write its id as listed by nightjar check, such as "28-0316a2794c5b", or "none"`)
	}
	if id == ProbeAuto && d != ProbeAuto {
		c.fail(key, "only the jar's probe can be found by itself", `write the probe's id, such as "28-0316a2794c5b", or "none"`)
	}
	return id
}

var roomRE = regexp.MustCompile(`^[a-z][a-z0-9_]{2,23}$`)

// roomProbe checks the room's thermometer: a probe, or the name by which the kernel shows a sensor that knows the humidity, too.
func (c *checker) roomProbe(key string, v *string, d string) string {
	if id := strings.ToLower(text(v, d)); id != ProbeAuto && roomRE.MatchString(id) {
		return id
	}
	return c.probe(key, v, d)
}

// budgets are the bounds of the chips' timing budgets.
var budgets = map[string][2]time.Duration{
	"vl53l0x":  {vl53l0x.MinBudget, vl53l0x.MaxBudget},
	"vl53l4cd": {vl53l4cd.MinBudget, vl53l4cd.MaxBudget},
	"vl6180x":  {vl6180x.MinBudget, vl6180x.MaxBudget},
}

// budget refuses a timing budget that the chip does not have.
func (c *checker) budget(key string, s Station) {
	if b, ok := budgets[s.Chip]; ok && (s.Budget < b[0] || s.Budget > b[1]) {
		c.fail(key+".budget", fmt.Sprintf("a %s cannot take %v for a range", s.Chip, s.Budget), fmt.Sprintf("from %v to %v", b[0], b[1]))
	}
	if s.Chip == "vl53l1x" && !slices.Contains(vl53l1x.Budgets(), s.Budget) {
		c.fail(key+".budget", fmt.Sprintf("a vl53l1x cannot take %v for a range", s.Budget), fmt.Sprintf("one of %v", vl53l1x.Budgets()))
	}
}
