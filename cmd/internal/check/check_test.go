package check_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/check"
	"nightjar/cmd/internal/config"
	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/detect"
	"nightjar/sensor/sim"
	"nightjar/store"
)

// tree makes files below a new root; a path that ends in / is a folder.
func tree(t *testing.T, files map[string]string) string {
	t.Helper()
	root := t.TempDir()
	for path, text := range files {
		full := filepath.Join(root, path)
		if strings.HasSuffix(path, "/") {
			require.NoError(t, os.MkdirAll(full, 0o755))
			continue
		}
		require.NoError(t, os.MkdirAll(filepath.Dir(full), 0o755))
		require.NoError(t, os.WriteFile(full, []byte(text), 0o644))
	}
	return root
}

// goodPi is a Pi on which nothing is missing.
func goodPi() map[string]string {
	return map[string]string{
		"dev/i2c-1": "", "sys/module/i2c_dev/": "",
		"etc/passwd": "nightjar:x:990:990::/var/lib/nightjar:/usr/sbin/nologin\n",
		"etc/group":  "i2c:x:994:baker,nightjar\n",
		"sys/bus/w1/devices/28-0316a2794c5b/temperature": "23500\n",
		"run/systemd/timesync/synchronized":              "",
		"boot/firmware/config.txt":                       "dtparam=i2c_arm=on\ndtoverlay=w1-gpio\n",
	}
}

// machine is a machine over a tree, whose ports are all closed.
func machine(t *testing.T, files map[string]string) check.Machine {
	t.Helper()
	return check.Machine{
		Root: tree(t, files), Config: config.Default(), ConfigPath: "/etc/nightjar/nightjar.toml",
		Store: filepath.Join(t.TempDir(), "nightjar", "nightjar.db"), Socket: "/run/nightjar/nightjar.sock",
		Access: func(string) error { return nil },
		Free:   func(string) (uint64, error) { return 1 << 30, nil },
		Dial: func(context.Context, string, string) (net.Conn, error) {
			return nil, &net.OpError{Op: "dial", Err: os.NewSyscallError("connect", syscall.ECONNREFUSED)}
		},
		Range: func(context.Context, config.Station) (string, error) { return "VL53L4CD at 0x29: 112.3 mm", nil },
	}
}

// find picks the finding of a name.
func find(t *testing.T, found []check.Finding, name string) check.Finding {
	t.Helper()
	for _, f := range found {
		if f.Name == name {
			return f
		}
	}
	require.Failf(t, "no finding", "%s in %v", name, found)
	return check.Finding{}
}

func TestNothingIsMissingOnAGoodMachine(t *testing.T) {
	t.Parallel()
	found := check.Run(t.Context(), machine(t, goodPi()))
	assert.False(t, check.Failed(found))
	for _, f := range found {
		if f.Name != "service" {
			assert.Equal(t, check.OK, f.State, f.Name+": "+f.Text)
			assert.Empty(t, f.Remedy)
		}
	}
	assert.Contains(t, find(t, found, "distance sensor of main").Text, "112.3 mm")
	assert.Equal(t, "28-0316a2794c5b", find(t, found, "jar's probe").Text)
	assert.Equal(t, check.Warn, find(t, found, "service").State)
}

// Everything that can be missing, with the words that must stand in what is said and in its remedy.
func TestEachFaultHasItsRemedy(t *testing.T) {
	t.Parallel()
	closed := syscall.ECONNREFUSED
	tests := []struct {
		name         string
		files        map[string]string // added to a good machine's; a value of "-" takes one away
		change       func(*check.Machine)
		finding      string
		state        check.State
		says, remedy string
	}{
		{"config", nil, func(m *check.Machine) {
			m.ConfigErr = &config.Error{Line: 3, Key: "mqtt.broke", Msg: "unknown key", Remedy: "did you mean broker?"}
		}, "configuration", check.Fail, "line 3: mqtt.broke", "did you mean broker?"},
		{"I2C switched off", map[string]string{"dev/i2c-1": "-", "boot/firmware/config.txt": "#dtparam=i2c_arm=on\n"}, nil,
			"I2C bus 1", check.Fail, "switched off", "dtparam=i2c_arm=on to /boot/firmware/config.txt"},
		{"I2C switched off, older system", map[string]string{"dev/i2c-1": "-", "boot/firmware/config.txt": "-", "boot/config.txt": "\n"}, nil,
			"I2C bus 1", check.Fail, "switched off", "to /boot/config.txt"},
		{"module", map[string]string{"dev/i2c-1": "-", "sys/module/i2c_dev/": "-"}, nil,
			"I2C bus 1", check.Fail, "module i2c-dev", "modprobe i2c-dev"},
		{"other bus", map[string]string{"dev/i2c-1": "-", "dev/i2c-20": ""}, nil,
			"I2C bus 1", check.Fail, "there is /dev/i2c-20", "bus to one that is there"},
		{"rights", nil, func(m *check.Machine) {
			m.Access = func(p string) error {
				if strings.Contains(p, "i2c-1") {
					return syscall.EACCES
				}
				return nil
			}
		}, "I2C bus 1", check.Fail, "permission denied", "usermod -aG i2c $USER"},
		{"service's group", map[string]string{"etc/group": "i2c:x:994:baker,nightjarx\n"}, nil,
			"I2C bus 1", check.Fail, "not in the group i2c", "usermod -aG i2c nightjar"},
		{"sensor absent", nil, rangeError(sensor.ErrAbsent), "distance sensor of main", check.Fail, "no answer", "check the cable"},
		{"sensor of another kind", nil, rangeError(sensor.ErrIdentity), "distance sensor of main", check.Fail, "another chip", "station's chip"},
		{"bus held", nil, rangeError(sensor.ErrBus), "distance sensor of main", check.Fail, "bus fault", "short"},
		{"sensor silent", nil, rangeError(sensor.ErrTimeout), "distance sensor of main", check.Fail, "not ready", "unplug"},
		{"no 1-wire", map[string]string{"sys/bus/w1/devices/28-0316a2794c5b/temperature": "-", "boot/firmware/config.txt": "dtparam=i2c_arm=on\n"}, nil,
			"1-wire bus", check.Warn, "no 1-wire bus", "dtoverlay=w1-gpio to /boot/firmware/config.txt"},
		{"no probe", map[string]string{"sys/bus/w1/devices/28-0316a2794c5b/temperature": "-", "sys/bus/w1/devices/w1_bus_master1/": ""}, nil,
			"jar's probe", check.Warn, "no probe", "GPIO4"},
		{"two probes", map[string]string{"sys/bus/w1/devices/28-0316a2794cff/": ""}, nil,
			"jar's probe", check.Fail, "28-0316a2794c5b, 28-0316a2794cff", "name it"},
		{"named probe absent", nil, func(m *check.Machine) { m.Config.Stations[0].DoughProbe = "28-00000000000a" },
			"probe 28-00000000000a", check.Fail, "not on the bus; there is 28-0316a2794c5b", "cable"},
		{"port taken", nil, func(m *check.Machine) { m.Dial = answers }, "embedded broker", check.Fail, "something else listens", "broker ="},
		{"broker's port", nil, func(m *check.Machine) { m.Config.MQTT.Broker = "mqtts://broker.example" },
			"broker", check.Fail, "broker.example:8883 does not answer", "Alerts wait"},
		{"broker's name", nil, func(m *check.Machine) {
			m.Config.MQTT.Broker = "mqtt://broker.example"
			m.Dial = func(context.Context, string, string) (net.Conn, error) {
				return nil, &net.DNSError{Err: "no such host", Name: "broker.example"}
			}
		}, "broker", check.Fail, "broker.example cannot be found", "spelt"},
		{"password", nil, func(m *check.Machine) {
			m.Config.MQTT.Broker, m.Config.MQTT.PasswordFile = "mqtt://broker.example", "/absent.secret"
		}, "broker's password", check.Fail, "/absent.secret", "0640"},
		{"clock", map[string]string{"run/systemd/timesync/synchronized": "-"}, nil, "clock", check.Warn, "not known", "timedatectl"},
		{"disk nearly full", nil, func(m *check.Machine) { m.Free = func(string) (uint64, error) { return 200 << 20, nil } },
			"disk", check.Warn, "200 MB left", "make room"},
		{"disk full", nil, func(m *check.Machine) { m.Free = func(string) (uint64, error) { return 1 << 20, nil } },
			"disk", check.Fail, "1 MB left", "make room"},
		{"disk read-only", nil, func(m *check.Machine) { m.Access = notInStore(m, syscall.EROFS) }, "disk", check.Fail, "read-only", "fsck"},
		{"disk of another user", nil, func(m *check.Machine) { m.Access = notInStore(m, syscall.EACCES) }, "disk", check.Fail, "permission denied", "sudo"},
		{"store's folder is a file", nil, func(m *check.Machine) { m.Store = "/etc/passwd/nightjar.db" }, "disk", check.Fail, "is no folder", "--store"},
		{"service that cannot wake", nil, func(m *check.Machine) { m.Live, m.CanWakeWhy, m.Dial = "v1", "no route", answers },
			"waking you", check.Warn, "no route", "acknowledge one"},
		{"service without its broker", nil, func(m *check.Machine) { m.Live = "v1" },
			"embedded broker", check.Fail, fmt.Sprint(closed), "journalctl"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			files := goodPi()
			for path, text := range tt.files {
				files[path] = text
				if text == "-" {
					delete(files, path)
				}
			}
			m := machine(t, files)
			if tt.change != nil {
				tt.change(&m)
			}
			f := find(t, check.Run(t.Context(), m), tt.finding)
			assert.Equal(t, tt.state, f.State, f.Text)
			assert.Contains(t, f.Text, tt.says)
			assert.Contains(t, f.Remedy, tt.remedy)
		})
	}
}

func rangeError(err error) func(*check.Machine) {
	return func(m *check.Machine) {
		m.Range = func(context.Context, config.Station) (string, error) {
			return "", fmt.Errorf("VL53L4CD at 0x29: %w", err)
		}
	}
}

func answers(context.Context, string, string) (net.Conn, error) {
	a, b := net.Pipe()
	return a, b.Close()
}

// notInStore refuses access to the folder of the store alone.
func notInStore(m *check.Machine, err error) func(string) error {
	dir := filepath.Dir(filepath.Dir(m.Store))
	return func(path string) error {
		if path == dir {
			return err
		}
		return nil
	}
}

func TestTheServiceKeepsItsSensorsAndItsStore(t *testing.T) {
	t.Parallel()
	m := machine(t, goodPi())
	m.Live, m.CanWake, m.Dial = "v1", true, answers
	m.Range = func(context.Context, config.Station) (string, error) { return "", errors.New("must not be asked") }
	found := check.Run(t.Context(), m)
	for _, f := range found {
		assert.Equal(t, check.OK, f.State, f.Name+": "+f.Text)
		assert.NotEqual(t, "distance sensor of main", f.Name)
	}
	assert.Equal(t, "open in the service", find(t, found, "store").Text)
}

func TestADamagedStoreIsTold(t *testing.T) {
	t.Parallel()
	m := machine(t, goodPi())
	db, err := store.Open(m.Store, store.Options{BootID: "7f3a9c1e-5b2d-4e88-9a61-0c4d2e6b8f10"})
	require.NoError(t, err)
	_, err = db.PutJar(rise.Jar{Name: "tall", FloorMM: 142, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 71}})
	require.NoError(t, err)
	require.NoError(t, db.Close())
	assert.Equal(t, check.OK, find(t, check.Run(t.Context(), m), "store").State)

	text, err := os.ReadFile(m.Store)
	require.NoError(t, err)
	at := strings.Index(string(text), `"floor_mm"`)
	require.Positive(t, at)
	text[at+2] ^= 1
	require.NoError(t, os.WriteFile(m.Store, text, 0o600))
	f := find(t, check.Run(t.Context(), m), "store")
	assert.Equal(t, check.Fail, f.State)
	assert.Contains(t, f.Remedy, "nightjar store check")
}

func TestFindingsAreJSON(t *testing.T) {
	t.Parallel()
	b, err := json.Marshal(check.Run(t.Context(), machine(t, nil)))
	require.NoError(t, err)
	var found []map[string]string
	require.NoError(t, json.Unmarshal(b, &found))
	for _, f := range found {
		assert.NotEmpty(t, f["name"])
		assert.Contains(t, []string{"ok", "warn", "fail"}, f["state"])
		assert.NotEmpty(t, f["text"])
	}
}

// TestWhatIsConnectedIsNamed: the simulated buses are asked who is there; a ranger that no station reads comes with the
// lines for it.
func TestWhatIsConnectedIsNamed(t *testing.T) {
	clock := sim.NewClock(time.Unix(1_790_000_000, 0), time.Minute)
	mux := sim.NewTCA9548A(0x70)
	mux.Channel(2).Attach(sim.NewVL53L0X(clock, sim.Card(80), sim.ChipOpts{}))
	buses := map[string]*sim.Bus{
		"as configured": sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(80), sim.ChipOpts{})),
		"behind a mux":  sim.NewBus("I2C1", mux),
		"nothing":       sim.NewBus("I2C1"),
	}
	for name, want := range map[string]check.Finding{
		"as configured": {State: check.OK, Text: "VL53L4CD at 0x29 on bus 1"},
		"nothing":       {State: check.OK, Text: "bus 1: no ranger at 0x29"},
		"behind a mux": {State: check.Warn, Text: "multiplexer at 0x70 on bus 1; VL53L0X at 0x29 on bus 1, channel 2 of the multiplexer at 0x70",
			Remedy: "for every distance sensor found, the configuration's lines are:\n[[station]]\nname = \"main\"\nchip = \"vl53l0x\"\nbus = 1\n" +
				"mux = \"0x70/2\"\njar_probe = \"28-0316a2794c5b\"\n"},
	} {
		m := machine(t, goodPi())
		m.Scan = func(number int, further ...uint16) detect.Bus { return detect.Scan(buses[name], number, further...) }
		want.Name = "on I2C bus 1"
		assert.Contains(t, check.Run(t.Context(), m), want, name)
		if want.Remedy != "" { // the lines are a configuration
			_, lines, _ := strings.Cut(want.Remedy, "\n")
			_, err := config.ParseConfig(strings.NewReader(lines))
			require.NoError(t, err)
		}
		m.Live = "1.0"
		assert.NotContains(t, check.Run(t.Context(), m), want, "the service has the bus")
	}
}

func TestTheRoomsSensorIsLookedFor(t *testing.T) {
	files := goodPi()
	m := machine(t, files)
	m.Config.Stations[0].RoomProbe = "sht4x"
	find := func(m check.Machine) check.Finding {
		for _, f := range check.Run(t.Context(), m) {
			if f.Name == "room sensor sht4x" {
				return f
			}
		}
		return check.Finding{}
	}
	assert.Equal(t, check.Fail, find(m).State)
	files["sys/class/hwmon/hwmon1/name"], files["sys/class/hwmon/hwmon1/humidity1_input"] = "sht4x\n", "48000\n"
	m.Root = tree(t, files)
	assert.Equal(t, check.OK, find(m).State)
}
