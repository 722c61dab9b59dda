package sim

import (
	"bytes"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"nightjar/sensor"
)

// Files is a folder of the small text files by which the kernel shows sensors, whose content moves with time: real files,
// renewed when one is opened through the Files as a file system. It is safe for concurrent use.
type Files struct {
	dir   string
	clock sensor.Clock

	mu      sync.Mutex
	sources map[string]Source
	written map[string][]byte
}

// Source is what a file says at a time since boot, or the error that reading it gives. It must not use the Files.
type Source func(at time.Duration) (string, error)

// Says is a Source that never changes.
func Says(text string) Source { return func(time.Duration) (string, error) { return text + "\n", nil } }

// Number is a Source that says a function of time as a whole number.
func Number(f func(at time.Duration) float64) Source {
	return func(at time.Duration) (string, error) { return fmt.Sprintf("%.0f\n", math.Round(f(at))), nil }
}

// NewFiles makes the folder dir with nothing in it.
func NewFiles(dir string, clock sensor.Clock) (*Files, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("simulated kernel files: %w", err)
	}
	return &Files{dir: dir, clock: clock, sources: map[string]Source{}, written: map[string][]byte{}}, nil
}

// Dir is the folder.
func (f *Files) Dir() string { return f.dir }

// Set makes a file, below the folder and with slashes, or gives it another source.
func (f *Files) Set(name string, s Source) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.sources[name] = s
	if err := os.MkdirAll(filepath.Dir(filepath.Join(f.dir, name)), 0o755); err != nil {
		return fmt.Errorf("simulated kernel files: %w", err)
	}
	return f.refresh(name)
}

// Remove takes away a file, or a folder with all its files, as when a driver is unloaded.
func (f *Files) Remove(name string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	for file := range f.sources {
		if file == name || strings.HasPrefix(file, name+"/") {
			delete(f.sources, file)
			delete(f.written, file)
		}
	}
	return os.RemoveAll(filepath.Join(f.dir, name))
}

// Open implements fs.FS on the folder.
func (f *Files) Open(name string) (fs.File, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	var fault error
	if _, ok := f.sources[name]; ok {
		fault = f.refresh(name)
	}
	file, err := os.DirFS(f.dir).Open(name)
	if err == nil && fault != nil {
		return unreadable{file, &fs.PathError{Op: "read", Path: name, Err: fault}}, nil
	}
	return file, err
}

// unreadable is a file that can be opened but not read, as the kernel's are when a sensor fails.
type unreadable struct {
	fs.File
	err error
}

// Read implements fs.File.
func (u unreadable) Read([]byte) (int, error) { return 0, u.err }

// refresh writes a file if what it says has changed.
func (f *Files) refresh(name string) error {
	text, err := f.sources[name](f.clock.Boot())
	if err != nil {
		return err
	}
	if old, ok := f.written[name]; ok && bytes.Equal(old, []byte(text)) {
		return nil
	}
	f.written[name] = []byte(text)
	return replaceFile(filepath.Join(f.dir, name), []byte(text))
}

// IIODistance makes the files of an IIO distance sensor below /sys/bus/iio/devices, as the kernel's driver of a chip
// (vl53l0x, vl53l1x, vl6180) has them: millimetres, without a status. fail, if not nil, may give an error instead.
func (f *Files) IIODistance(device, chip string, scene Scene, fail func(at time.Duration) error) error {
	raw := func(at time.Duration) (string, error) {
		if fail != nil {
			if err := fail(at); err != nil {
				return "", err
			}
		}
		t := scene.Target(at)
		mm := math.Round(t.DistanceMM)
		if t.None {
			mm = map[string]float64{"vl53l0x": 8190, "vl6180": 255}[chip]
		}
		return fmt.Sprintf("%.0f\n", mm), nil
	}
	for name, s := range map[string]Source{"name": Says(chip), "in_distance_raw": raw, "in_distance_scale": Says("0.001000")} {
		if err := f.Set(device+"/"+name, s); err != nil {
			return err
		}
	}
	return nil
}

// HWMonClimate makes the files of a thermometer with a hygrometer below /sys, such as class/hwmon/hwmon2: thousandths of a
// °C and of a per cent (Documentation/hwmon/sysfs-interface.rst).
func (f *Files) HWMonClimate(folder, chip string, c, rh func(at time.Duration) float64) error {
	return f.climate(folder, chip, "temp1_input", "humidity1_input", c, rh)
}

// IIOClimate makes the files of a thermometer with a hygrometer below /sys, such as bus/iio/devices/iio:device1, in the
// same units (Documentation/ABI/testing/sysfs-bus-iio).
func (f *Files) IIOClimate(folder, chip string, c, rh func(at time.Duration) float64) error {
	return f.climate(folder, chip, "in_temp_input", "in_humidityrelative_input", c, rh)
}

func (f *Files) climate(folder, chip, temp, humidity string, c, rh func(at time.Duration) float64) error {
	milli := func(g func(at time.Duration) float64) Source {
		return Number(func(at time.Duration) float64 { return 1000 * g(at) })
	}
	for name, s := range map[string]Source{"name": Says(chip), temp: milli(c), humidity: milli(rh)} {
		if err := f.Set(folder+"/"+name, s); err != nil {
			return err
		}
	}
	return nil
}

var _ fs.FS = (*Files)(nil)
