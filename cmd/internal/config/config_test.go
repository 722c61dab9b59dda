package config

import (
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const reference = "../../../deploy/nightjar.toml"

func parse(t *testing.T, text string) Config {
	t.Helper()
	cfg, err := ParseConfig(strings.NewReader(text))
	require.NoError(t, err)
	return cfg
}

func TestEmptyFileIsOneStationOnBusOne(t *testing.T) {
	t.Parallel()
	cfg := parse(t, "")
	assert.Equal(t, Default(), cfg)
	require.Len(t, cfg.Stations, 1)
	assert.Equal(t, "main", cfg.Stations[0].Name)
	assert.Equal(t, 1, cfg.Stations[0].Bus)
	assert.Equal(t, ChipAuto, cfg.Stations[0].Chip)
}

func TestReferenceFileHoldsEveryDefault(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(reference)
	require.NoError(t, err)
	assert.Equal(t, Default(), parse(t, string(text)))
}

// The reference file names every key that the parser knows, so that none is hidden from its reader.
func TestReferenceFileNamesEveryKey(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(reference)
	require.NoError(t, err)
	shown := map[string][]string{}
	table := ""
	tableRE, keyRE := regexp.MustCompile(`^(?:# )?\[+(\w+)\]+$`), regexp.MustCompile(`^(?:# )?(\w+) = `)
	for line := range strings.Lines(string(text)) {
		if m := tableRE.FindStringSubmatch(strings.TrimSpace(line)); m != nil {
			table = m[1]
			shown[""] = append(shown[""], table)
		} else if m := keyRE.FindStringSubmatch(line); m != nil {
			shown[table] = append(shown[table], m[1])
		}
	}
	assert.Equal(t, known, shown)
}

// The list of known keys is that of the struct that is decoded.
func TestKnownKeysAreTheDecodedOnes(t *testing.T) {
	t.Parallel()
	for i := range reflect.TypeFor[file]().NumField() {
		f := reflect.TypeFor[file]().Field(i)
		table := f.Tag.Get("toml")
		require.Contains(t, known[""], table)
		st := f.Type
		if st.Kind() == reflect.Slice {
			st = st.Elem()
		}
		var keys []string
		for j := range st.NumField() {
			keys = append(keys, st.Field(j).Tag.Get("toml"))
		}
		assert.Equal(t, known[table], keys, table)
	}
}

func TestValuesAreRead(t *testing.T) {
	t.Parallel()
	cfg := parse(t, `
[device]
name = "bakehouse-2"
[store]
flush_run = "1m30s"
[mqtt]
broker = "mqtts://broker.example:8884"
user = "oven"
password_file = "/etc/nightjar/mqtt.secret"
[[station]]
name = "left"
mux = "0x71/3"
bus = 0
jar_probe = "28-0316A2794C5B"
[[station]]
name = "right"
address = 0x2a
xshut = "gpio17"
chip = "VL53L4CD"
jar_probe = "none"
every = "1m"
[[push]]
url = "https://push.example/k"
`)
	assert.Equal(t, "bakehouse-2", cfg.Device.Name)
	assert.Equal(t, 90*time.Second, cfg.Store.FlushRun)
	assert.Equal(t, 10*time.Minute, cfg.Store.FlushIdle)
	assert.Equal(t, "mqtts://broker.example:8884", cfg.MQTT.Broker)
	require.Len(t, cfg.Stations, 2)
	left, right := cfg.Stations[0], cfg.Stations[1]
	assert.Equal(t, Mux{Address: 0x71, Channel: 3}, left.Mux)
	assert.Equal(t, 0, left.Bus)
	assert.Equal(t, "28-0316a2794c5b", left.JarProbe)
	assert.Equal(t, uint16(0x29), left.Address)
	assert.Equal(t, uint16(0x2a), right.Address)
	assert.Equal(t, "GPIO17", right.XSHUT)
	assert.Equal(t, "vl53l4cd", right.Chip)
	assert.Equal(t, time.Minute, right.Every)
	assert.Equal(t, []Push{{Name: "push", URL: "https://push.example/k", Format: "text"}}, cfg.Pushes)
}

func TestFaultsNameLineAndRemedy(t *testing.T) {
	t.Parallel()
	two := func(a, b string) string { return "[[station]]\nname='a'\n" + a + "\n[[station]]\nname='b'\n" + b }
	tests := []struct {
		name, text, key string
		line            int
		says, remedy    string
	}{
		{"unknown key", "[device]\nname='a'\n[mqtt]\nbroke='x'", "mqtt.broke", 4, "unknown key", "did you mean broker?"},
		{"unknown table", "\n[stations]\nname='a'", "stations", 2, "unknown key", "station"},
		{"secret in the open", "[mqtt]\npassword='x'", "mqtt.password", 2, "unknown key", "password_file"},
		{"no TOML", "[device\n", "", 1, "column", "[["},
		{"wrong type", "[alerts]\nrings='six'", "alerts.rings", 2, "string", "quotes"},
		{"name for a topic", "[device]\nname='Küche/1'", "device.name", 2, "topic", "a-z"},
		{"no unit", "[[station]]\nevery='30'", "station.every", 2, "time span", "30s"},
		{"span out of range", "[store]\nflush_run='0s'", "store.flush_run", 2, "out of range", "2m0s"},
		{"count out of range", "[[station]]\nranges=0", "station.ranges", 2, "out of range", "20"},
		{"burst longer than a tick", "[[station]]\nranges=200\nevery='10s'", "station.every", 3, "too long", "80 %"},
		{"shifted address", "[[station]]\naddress=0x8a", "station.address", 2, "no I2C address", "0x29"},
		{"unknown chip", "[[station]]\nchip='vl53l4cx'", "station.chip", 2, "unknown", `nearest is "vl53l4cd"`},
		{"reset line", "[[station]]\nxshut='17'", "station.xshut", 2, "GPIO line", "GPIO17"},
		{"multiplexer", "[[station]]\nmux='0x70'", "station.mux", 2, "multiplexer", "0x70/0"},
		{"probe", "[[station]]\njar_probe='28-31'", "station.jar_probe", 2, "no probe", "nightjar check"},
		{"auto probe in the dough", "[[station]]\ndough_probe='auto'", "station.dough_probe", 2, "only the jar's", "28-"},
		{"two stations, no name", "[[station]]\nname='a'\n[[station]]\nbus=2", "station", 3, "no name", "name of its own"},
		{"two of one name", "[[station]]\nname='a'\n[[station]]\nname='a'\nbus=2", "station.name", 4, "two stations", "own"},
		{"two on one address", two("jar_probe='none'", "address=0x29"), "station.address", 6, "share address 0x29", "xshut"},
		{"two on one reset line", two("xshut='GPIO4'", "address=0x30\nxshut='GPIO4'"), "station.xshut", 7, "share GPIO4", "own"},
		{"one probe in two jars", two("jar_probe='28-0316a2794c5b'", "bus=3\njar_probe='28-0316a2794c5b'"), "station.jar_probe", 7, "share probe", "own"},
		{"auto probe in two jars", two("", "bus=3"), "station.jar_probe", 4, "found by itself", "nightjar check"},
		{"broker without scheme", "[mqtt]\nbroker='broker.example:1883'", "mqtt.broker", 2, "no address", "mqtt://"},
		{"broker's port", "[mqtt]\nbroker='mqtt://b.example:99999'", "mqtt.broker", 2, "no port", "mqtt://"},
		{"password in the address", "[mqtt]\nbroker='mqtt://u:p@b.example'", "mqtt.broker", 2, "password", "file"},
		{"password without user", "[mqtt]\npassword_file='/a'", "mqtt.password_file", 2, "without a user", "user"},
		{"certificates for nothing", "[mqtt]\nca_file='/a'", "mqtt.ca_file", 2, "certificates", "mqtts"},
		{"broker open to the network", "[mqtt]\nlisten='0.0.0.0:1883'", "mqtt.listen", 2, "other machines", "127.0.0.1"},
		{"short path", "[store]\npath='db'", "store.path", 2, "full path", "/"},
		{"push without address", "[[push]]\nname='phone'", "push.url", 1, "missing", "https://"},
		{"two pushes of one name", "[[push]]\nurl='http://a.example'\n[[push]]\nurl='http://b.example'", "push.name", 3, "two push", "own"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := ParseConfig(strings.NewReader(tt.text))
			var fault *Error
			require.ErrorAs(t, err, &fault)
			assert.Equal(t, tt.key, fault.Key)
			assert.Equal(t, tt.line, fault.Line)
			assert.Contains(t, fault.Error(), tt.says)
			assert.Contains(t, fault.Hint(), tt.remedy)
		})
	}
}

func TestStationsMayShareTheRoomProbe(t *testing.T) {
	t.Parallel()
	cfg := parse(t, "[[station]]\nname='a'\njar_probe='none'\nroom_probe='28-0316a2794c5b'\n"+
		"[[station]]\nname='b'\nbus=3\njar_probe='none'\nroom_probe='28-0316a2794c5b'")
	assert.Equal(t, cfg.Stations[0].RoomProbe, cfg.Stations[1].RoomProbe)
}

func TestRangersThatCannotBe(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]struct {
		line int
		says string
	}{
		"chip='vl6180x'\nbudget='100ms'":     {3, "from 15ms to 68ms"},
		"chip='vl53l0x'\nbudget='15ms'":      {3, "from 20ms"},
		"chip='vl53l4cd'\nbudget='250ms'":    {3, "to 200ms"},
		"chip='vl53l1x'\nbudget='60ms'":      {3, "one of"},
		"xshut='GPIO17'\ninterrupt='GPIO17'": {3, "reset line"},
		"name='a'\njar_probe='none'\n[[station]]\nname='b'\njar_probe='none'\naddress=0x2a":                                {4, "0x29"},
		"name='a'\njar_probe='none'\ninterrupt='GPIO5'\n[[station]]\nname='b'\nbus=3\njar_probe='none'\ninterrupt='GPIO5'": {9, "share GPIO5"},
	} {
		_, err := ParseConfig(strings.NewReader("[[station]]\n" + text))
		var fault *Error
		require.ErrorAs(t, err, &fault, text)
		assert.Equal(t, want.line, fault.Line, text)
		assert.Contains(t, fault.Error()+" "+fault.Hint(), want.says, text)
	}
	cfg := parse(t, "[[station]]\nchip='vl53l4cd'\nbudget='10ms'\ninterrupt='gpio4'\nwindow=true")
	assert.Equal(t, "GPIO4", cfg.Stations[0].Interrupt)
	assert.True(t, cfg.Stations[0].Window)
	parse(t, "[[station]]\nname='a'\njar_probe='none'\n[[station]]\nname='b'\nchip='iio'\njar_probe='none'")
}

func TestTheRoomsSensorMayBeTheKernels(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "sht4x", parse(t, "[[station]]\nroom_probe='SHT4x'").Stations[0].RoomProbe)
	for _, text := range []string{"room_probe='auto'", "room_probe='28-zz'", "room_probe='sht 4x'", "jar_probe='sht4x'"} {
		_, err := ParseConfig(strings.NewReader("[[station]]\n" + text))
		var fault *Error
		require.ErrorAs(t, err, &fault, text)
		assert.Equal(t, 2, fault.Line)
	}
}

func TestLoad(t *testing.T) {
	t.Parallel()
	absent := t.TempDir() + "/nightjar.toml"
	cfg, err := Load(absent, false)
	require.NoError(t, err)
	assert.Equal(t, Default(), cfg)
	_, err = Load(absent, true)
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NoError(t, os.WriteFile(absent, []byte("[web]\nsocke='/a'"), 0o600))
	_, err = Load(absent, false)
	require.ErrorContains(t, err, absent+": line 2: web.socke")
}

func TestReadSecret(t *testing.T) {
	t.Parallel()
	path := t.TempDir() + "/mqtt.secret"
	require.NoError(t, os.WriteFile(path, []byte("crumb and crust\r\nsecond line\n"), 0o600))
	got, err := ReadSecret(path)
	require.NoError(t, err)
	assert.Equal(t, "crumb and crust", got)

	require.NoError(t, os.Chmod(path, 0o644))
	_, err = ReadSecret(path)
	require.ErrorContains(t, err, "everyone")

	require.NoError(t, os.Chmod(path, 0o600))
	require.NoError(t, os.WriteFile(path, []byte("\n"), 0o600))
	_, err = ReadSecret(path)
	require.ErrorContains(t, err, "no first line")
	_, err = ReadSecret(path + ".absent")
	require.ErrorIs(t, err, os.ErrNotExist)
}

func FuzzParseConfig(f *testing.F) {
	text, err := os.ReadFile(reference)
	require.NoError(f, err)
	f.Add(string(text))
	f.Add("[[station]]\nname='a'\n[[station]]\nname='b'\nbus=2\nmux='0x70/1'")
	f.Add("station = [{name='x', address=0x30}]")
	f.Add("mqtt.broker = 'mqtts://h:1'")
	f.Fuzz(func(t *testing.T, text string) {
		cfg, err := ParseConfig(strings.NewReader(text))
		if err != nil {
			var fault *Error
			require.ErrorAs(t, err, &fault)
			assert.NotEmpty(t, fault.Hint())
			return
		}
		require.NotEmpty(t, cfg.Stations)
		for _, s := range cfg.Stations {
			assert.True(t, ValidName(s.Name))
			assert.Contains(t, Chips, s.Chip)
			assert.Less(t, time.Duration(s.Ranges)*s.Budget, s.Every)
		}
		assert.False(t, slices.ContainsFunc(cfg.Pushes, func(p Push) bool { return p.URL == "" }))
	})
}
