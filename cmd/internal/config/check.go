package config

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"nightjar/notify/bell"
)

// checker turns a file into a Config. Its methods check one value each and keep the first error.
type checker struct {
	lines map[string]int
	err   error
}

// fail keeps the first error. Where a key does not stand in the file, the line is that of its table.
func (c *checker) fail(key, msg, remedy string) {
	line := c.lines[key]
	for table := key; line == 0 && strings.Contains(table, "."); line = c.lines[table] {
		table = table[:strings.LastIndex(table, ".")]
	}
	if c.err == nil {
		c.err = &Error{Line: line, Key: indexRE.ReplaceAllString(key, ""), Msg: msg, Remedy: remedy}
	}
}

// indexRE finds the number of a table in a list: the line tells a person which one it is.
var indexRE = regexp.MustCompile(`\.[0-9]+`)

func (c *checker) config(f file) Config {
	d := Default()
	cfg := Config{
		Device: Device{Name: c.name("device.name", f.Device.Name, d.Device.Name)},
		Store:  c.store(f, d.Store),
		Web:    Web{Socket: c.path("web.socket", f.Web.Socket)},
		Alerts: c.alerts(f, d.Alerts),
		Pushes: c.pushes(f.Pushes),
	}
	cfg.MQTT = c.mqtt(f, d.MQTT)
	cfg.Stations = c.stations(f.Stations)
	return cfg
}

func (c *checker) store(f file, d Store) Store {
	return Store{
		Path:      c.path("store.path", f.Store.Path),
		FlushRun:  c.span("store.flush_run", f.Store.FlushRun, d.FlushRun, time.Second, 30*time.Minute),
		FlushIdle: c.span("store.flush_idle", f.Store.FlushIdle, d.FlushIdle, time.Second, 2*time.Hour),
	}
}

func (c *checker) alerts(f file, d Alerts) Alerts {
	return Alerts{
		Soon:   c.span("alerts.soon", f.Alerts.Soon, d.Soon, time.Minute, 12*time.Hour),
		Repeat: c.span("alerts.repeat", f.Alerts.Repeat, d.Repeat, time.Minute, 2*time.Hour),
		Rings:  c.whole("alerts.rings", f.Alerts.Rings, d.Rings, 1, 60),

		QuietFrom: c.hour("alerts.quiet_from", f.Alerts.QuietFrom, d.QuietFrom),
		QuietTo:   c.hour("alerts.quiet_to", f.Alerts.QuietTo, d.QuietTo),
		Bedtime:   c.hour("alerts.bedtime", f.Alerts.Bedtime, d.Bedtime),
		Buzzer:    c.line("alerts.buzzer", f.Alerts.Buzzer),
	}
}

// text is a value or its default.
func text(v *string, d string) string {
	if v == nil {
		return d
	}
	return strings.TrimSpace(*v)
}

var nameRE = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,31}$`)

// ValidName reports whether a name may stand in a topic: 1 to 32 lower-case letters, digits, "-" and "_", beginning
// with a letter or a digit. MQTT gives "/", "+", "#" and "$" a meaning of their own (MQTT 3.1.1, section 4.7), and
// home-automation discovery takes only letters, digits, "-" and "_".
func ValidName(name string) bool { return nameRE.MatchString(name) }

func (c *checker) name(key string, v *string, d string) string {
	name := text(v, d)
	if !ValidName(name) {
		c.fail(key, fmt.Sprintf("%q cannot stand in a topic", name),
			"use 1 to 32 of a-z, 0-9, - and _, beginning with a letter or a digit, such as \"kitchen\"")
	}
	return name
}

// hour is a time of day.
func (c *checker) hour(key string, v *string, d bell.Hour) bell.Hour {
	h, err := bell.ParseHour(text(v, d.String()))
	if err != nil {
		c.fail(key, err.Error(), "such as \""+d.String()+"\", on the machine's clock")
	}
	return h
}

// prefix is the first level of discovery topics.
func (c *checker) prefix(key string, v *string, d string) string {
	p := text(v, d)
	if p != "" && !prefixRE.MatchString(p) {
		c.fail(key, fmt.Sprintf("%q cannot stand in a topic", p), "use letters, digits, - and _, or \"\" to announce nothing")
	}
	return p
}

var prefixRE = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

func (c *checker) path(key string, v *string) string {
	p := text(v, "")
	if p != "" && !strings.HasPrefix(p, "/") || strings.ContainsRune(p, 0) {
		c.fail(key, fmt.Sprintf("%q is not a full path", p), "begin it with /, such as /etc/nightjar/mqtt.secret")
	}
	return p
}

func (c *checker) span(key string, v *string, d, low, high time.Duration) time.Duration {
	if v == nil {
		return d
	}
	span, err := time.ParseDuration(strings.TrimSpace(*v))
	if err != nil {
		c.fail(key, fmt.Sprintf("%q is no time span", *v), `write a number with its unit, such as "50ms", "30s", "2m" or "1h30m"`)
		return d
	}
	if span < low || span > high {
		c.fail(key, fmt.Sprintf("%s is out of range", *v), fmt.Sprintf("from %v to %v; the default is %v", low, high, d))
	}
	return span
}

func (c *checker) whole(key string, v *int, d, low, high int) int {
	if v == nil {
		return d
	}
	if *v < low || *v > high {
		c.fail(key, fmt.Sprintf("%d is out of range", *v), fmt.Sprintf("from %d to %d; the default is %d", low, high, d))
	}
	return *v
}

func (c *checker) oneOf(key string, v *string, d string, words []string) string {
	word := strings.ToLower(text(v, d))
	if !slices.Contains(words, word) {
		near := slices.MinFunc(words, func(a, b string) int { return cmp.Compare(distance(a, word), distance(b, word)) })
		c.fail(key, fmt.Sprintf("%q is unknown", word), fmt.Sprintf("one of %s; nearest is %q", strings.Join(words, ", "), near))
	}
	return word
}
