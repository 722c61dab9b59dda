package check

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"

	"nightjar/cmd/internal/config"
	"nightjar/sensor"
)

// serviceUser is the user that the installed service runs as.
const serviceUser = "nightjar"

// buses looks at the I2C buses of the stations.
func (m *Machine) buses() []Finding {
	var found []Finding
	var seen []int
	for _, s := range m.Config.Stations {
		if !slices.Contains(seen, s.Bus) {
			seen = append(seen, s.Bus)
			found = append(found, m.bus(s.Bus))
		}
	}
	return found
}

func (m *Machine) bus(n int) Finding {
	name, node := fmt.Sprintf("I2C bus %d", n), fmt.Sprintf("/dev/i2c-%d", n)
	if !m.exists(node) {
		return m.noBus(name, node, n)
	}
	if err := m.Access(m.at(node)); err != nil {
		return fail(name, "sudo usermod -aG i2c $USER, then sign in again", "%s: %v", node, err)
	}
	if m.inFile("/etc/passwd", serviceUser) && !m.inGroup("i2c", serviceUser) {
		return fail(name, "sudo usermod -aG i2c "+serviceUser+", then sudo systemctl restart nightjar", "the service's user %s is not in the group i2c", serviceUser)
	}
	return ok(name, "%s", node)
}

// noBus says why there is no such bus: switched off, its module not loaded, or another number.
func (m *Machine) noBus(name, node string, n int) Finding {
	boot := m.bootConfig()
	others := m.glob("/dev", `^i2c-[0-9]+$`)
	switch {
	case n == 1 && boot != "" && !m.hasLine(boot, `^dtparam=(.*,)?i2c_arm=on`):
		return fail(name, "add the line dtparam=i2c_arm=on to "+boot+" and reboot", "%s is missing: I2C is switched off", node)
	case !m.exists("/sys/module/i2c_dev") && len(others) == 0:
		return fail(name, "sudo modprobe i2c-dev, and for every start: echo i2c-dev | sudo tee /etc/modules-load.d/i2c-dev.conf", "%s is missing: the kernel's module i2c-dev is not loaded", node)
	case len(others) > 0:
		return fail(name, "set the station's bus to one that is there", "%s is missing; there is %s", node, strings.Join(others, ", "))
	}
	return fail(name, "enable I2C in the machine's boot settings and reboot", "%s is missing", node)
}

// bootConfig is the file that switches a Pi's buses on: under /boot/firmware since Debian 12. Empty where this is no Pi.
func (m *Machine) bootConfig() string {
	for _, path := range []string{"/boot/firmware/config.txt", "/boot/config.txt"} {
		if m.exists(path) {
			return path
		}
	}
	return ""
}

// hasLine reports whether a line of a file matches.
func (m *Machine) hasLine(path, pattern string) bool {
	f, err := os.Open(m.at(path))
	if err != nil {
		return false
	}
	defer f.Close()
	re := regexp.MustCompile(pattern)
	for s := bufio.NewScanner(f); s.Scan(); {
		if re.MatchString(strings.TrimSpace(s.Text())) {
			return true
		}
	}
	return false
}

// inFile reports whether a colon-separated file such as /etc/passwd has an entry of that name.
func (m *Machine) inFile(path, name string) bool {
	return m.hasLine(path, "^"+regexp.QuoteMeta(name)+":")
}

func (m *Machine) inGroup(group, user string) bool {
	return m.hasLine("/etc/group", "^"+regexp.QuoteMeta(group)+":[^:]*:[^:]*:(.*,)?"+regexp.QuoteMeta(user)+"(,|$)")
}

// glob lists the names in a folder that match.
func (m *Machine) glob(dir, pattern string) []string {
	entries, err := os.ReadDir(m.at(dir))
	if err != nil {
		return nil
	}
	re := regexp.MustCompile(pattern)
	var names []string
	for _, e := range entries {
		if re.MatchString(e.Name()) {
			names = append(names, dir+"/"+e.Name())
		}
	}
	return names
}

// rangers reads each station's distance sensor once, unless the service has them.
func (m *Machine) rangers(ctx context.Context) []Finding {
	if m.Live != "" || m.Range == nil {
		return nil
	}
	var found []Finding
	for _, s := range m.Config.Stations {
		if m.exists(fmt.Sprintf("/dev/i2c-%d", s.Bus)) {
			found = append(found, m.ranger(ctx, s))
		}
	}
	return found
}

func (m *Machine) ranger(ctx context.Context, s config.Station) Finding {
	name := "distance sensor of " + s.Name
	saw, err := m.Range(ctx, s)
	remedies := []struct {
		is     error
		remedy string
	}{
		{sensor.ErrAbsent, "check the cable: SDA on pin 3, SCL on pin 5, 3.3 V on pin 1, ground on pin 6; i2cdetect -y " + fmt.Sprint(s.Bus) + " shows what answers"},
		{sensor.ErrIdentity, "set the station's chip in the configuration"},
		{sensor.ErrBus, "something holds the bus: unplug the sensor, then look for a short"},
		{fs.ErrPermission, "sudo usermod -aG i2c $USER, then sign in again"},
	}
	for _, r := range remedies {
		if errors.Is(err, r.is) {
			return fail(name, r.remedy, "%v", err)
		}
	}
	if err != nil {
		return fail(name, "unplug and plug the sensor, then try again", "%v", err)
	}
	return ok(name, "%s", saw)
}
