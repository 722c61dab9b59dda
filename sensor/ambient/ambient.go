// Package ambient reads the room's temperature and humidity from a sensor that a driver of the kernel owns: any hwmon or
// IIO device with a relative humidity, such as SHT3x, SHT4x, Si7021, HTU21, HDC1080, BME280 or DHT22.
//
// # Concepts
//
// A Dev is one such device, named by the name that its driver gives it or the only one there. It is looked for anew at each
// reading, because its number changes when the driver is loaded again. Values are thousandths of a °C and of a per
// cent, as both interfaces have them (Documentation/hwmon/sysfs-interface.rst, Documentation/ABI/testing/sysfs-bus-iio); an IIO device that
// gives raw counts is scaled as its files say: (raw + offset) × scale.
//
// # Traps
//
// Temperature and humidity are read one after the other, and each reading has the kernel measure. A sensor in the warm air
// above the Pi or over the jar does not know the room.
package ambient

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"sync"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/internal/sysfs"

	"periph.io/x/conn/v3/physic"
)

// Root is where the kernel shows its devices.
const Root = "/sys"

// timeout bounds one reading, in real time: a DHT22 takes up to 2 s.
const timeout = 5 * time.Second

// What a kitchen can have.
const (
	coldestC, hottestC = -40, 70
	leastRH, mostRH    = 0, 100
)

// Device is a sensor that the kernel shows.
type Device struct {
	// Name is the chip, as its driver calls it; Folder where it is below Root.
	Name   string `json:"name"`
	Folder string `json:"folder"`
}

// Dev is a thermometer and hygrometer. It is safe for concurrent use; readings take turns.
type Dev struct {
	files fs.FS
	want  string

	mu   sync.Mutex
	call sysfs.Call[answer]
}

// answer is what a reading came to, in units.
type answer struct {
	v   float64
	err error
}

// Open returns the sensor with a name such as sht3x on this machine, or with "" the only one that knows the humidity.
// Nothing is read yet.
func Open(name string) *Dev { return New(os.DirFS(Root), name) }

// New is Open in a folder like Root.
func New(files fs.FS, name string) *Dev { return &Dev{files: files, want: strings.ToLower(name)} }

// String names the sensor.
func (d *Dev) String() string {
	if d.want == "" {
		return "room sensor"
	}
	return "room sensor " + d.want
}

// Temperature implements sensor.Thermometer.
func (d *Dev) Temperature(ctx context.Context) (physic.Temperature, error) {
	c, err := d.measure(ctx, temperature, coldestC, hottestC)
	return physic.ZeroCelsius + physic.Temperature(c*float64(physic.Kelvin)), err
}

// Humidity implements sensor.Hygrometer.
func (d *Dev) Humidity(ctx context.Context) (physic.RelativeHumidity, error) {
	rh, err := d.measure(ctx, humidity, leastRH, mostRH)
	return physic.RelativeHumidity(rh * float64(physic.PercentRH)), err
}

// quantity is where a quantity stands: the hwmon file, and the beginning of the names of the IIO files.
type quantity struct{ hwmon, iio string }

var (
	temperature = quantity{"temp1_input", "in_temp"}
	humidity    = quantity{"humidity1_input", "in_humidityrelative"}
)

// measure reads a quantity and refuses what no kitchen has.
func (d *Dev) measure(ctx context.Context, q quantity, least, most float64) (float64, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	a, err := d.call.Do(ctx, timeout, func() answer { return d.read(q) })
	if err == nil {
		err = a.err
	}
	if err == nil && !(a.v >= least && a.v <= most) {
		err = fmt.Errorf("%.1f is beyond any kitchen: %w", a.v, sensor.ErrBadValue)
	}
	if err != nil {
		return 0, fmt.Errorf("%v: %w", d, err)
	}
	return a.v, nil
}

// read finds the sensor and reads a quantity. It runs in a goroutine of its own.
func (d *Dev) read(q quantity) answer {
	dev, err := d.find()
	if err != nil {
		return answer{err: err}
	}
	for _, name := range []string{q.hwmon, q.iio + "_input"} {
		milli, err := sysfs.ReadFloat(d.files, dev.Folder+"/"+name)
		if !errors.Is(err, fs.ErrNotExist) {
			return answer{milli / 1000, err}
		}
	}
	return d.raw(dev.Folder + "/" + q.iio)
}

// raw reads counts, and scales them. A missing offset is 0.
func (d *Dev) raw(stem string) answer {
	raw, err := sysfs.ReadFloat(d.files, stem+"_raw")
	if err != nil {
		return answer{err: err}
	}
	scale, err := sysfs.ReadFloat(d.files, stem+"_scale")
	if err != nil {
		return answer{err: err}
	}
	offset, err := sysfs.ReadFloat(d.files, stem+"_offset")
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return answer{err: err}
	}
	return answer{v: (raw + offset) * scale / 1000}
}

// find looks for the sensor.
func (d *Dev) find() (Device, error) {
	var found []Device
	for _, dev := range List(d.files) {
		if d.want == "" || dev.Name == d.want {
			found = append(found, dev)
		}
	}
	switch len(found) {
	case 0:
		return Device{}, fmt.Errorf("no such sensor is shown by the kernel: is its driver loaded, its cable in? %w", sensor.ErrAbsent)
	case 1:
		return found[0], nil
	}
	return Device{}, fmt.Errorf("several, name one: %v: %w", found, sensor.ErrIdentity)
}

// List lists the sensors that know a humidity. Some chips are shown both as hwmon and as IIO: such a one is listed once.
func List(files fs.FS) []Device {
	var found []Device
	seen := map[string]bool{}
	for _, pattern := range []string{"class/hwmon/hwmon*/" + humidity.hwmon, "bus/iio/devices/iio:device*/" + humidity.iio + "_*"} {
		names, _ := fs.Glob(files, pattern)
		for _, name := range names {
			folder := name[:strings.LastIndex(name, "/")]
			if seen[folder] {
				continue
			}
			seen[folder] = true
			text, err := sysfs.Read(files, folder+"/name")
			if err != nil {
				text = []byte("unknown")
			}
			found = append(found, Device{strings.ToLower(strings.TrimSpace(string(text))), folder})
		}
	}
	return found
}

var (
	_ sensor.Thermometer = (*Dev)(nil)
	_ sensor.Hygrometer  = (*Dev)(nil)
)
