package sim

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"nightjar/sensor"
)

// Kernel is a generation of the kernel's w1_therm driver.
type Kernel int

// The generations. The rework of 2020 (Linux 5.8) made a failed conversion an empty read and added the hwmon device.
const (
	// NewKernel answers a failed conversion with an empty read, and in the hwmon file with an error.
	NewKernel Kernel = iota
	// OldKernel has the w1_slave file only and prints NO there, with a temperature all the same.
	OldKernel
)

// WireFault is what is wrong with a 1-wire sensor.
type WireFault int

// The faults of a 1-wire sensor.
const (
	// WireGood is none.
	WireGood WireFault = iota
	// WireUnplugged: the kernel has noticed and taken the sensor's folder away.
	WireUnplugged
	// WireFloating: unplugged, but not yet noticed: every bit reads 1.
	WireFloating
	// WireShorted: every bit reads 0, and the checksum of that is right.
	WireShorted
	// WireNoise: the checksum is wrong.
	WireNoise
	// WirePowerOn: the sensor lost its power and says 85 °C.
	WirePowerOn
	// WireStarved: too little current to convert, it says 127.94 °C.
	WireStarved
	// WireSilent: an empty read for no reason that shows.
	WireSilent
)

// OneWire is a folder like /sys/bus/w1/devices with simulated DS18B20 sensors in it: real files, renewed whenever one
// is opened through the OneWire as a file system, or by Refresh. It is safe for concurrent use.
type OneWire struct {
	dir   string
	clock sensor.Clock

	mu      sync.Mutex
	sensors map[string]*wireSensor
	order   []string
}

// wireSensor is one sensor and what stands in its files.
type wireSensor struct {
	id     string
	kernel Kernel
	hwmon  string
	temp   func(at time.Duration) float64
	fault  func(at time.Duration) WireFault
	files  map[string][]byte // as last written; nil when the folder is away
	errno  syscall.Errno     // what the hwmon file answers instead of its content
}

// NewOneWire makes the folder dir, with one bus master in it and no sensor.
func NewOneWire(dir string, clock sensor.Clock) (*OneWire, error) {
	w := &OneWire{dir: dir, clock: clock, sensors: map[string]*wireSensor{}}
	master := filepath.Join(dir, "w1_bus_master1")
	if err := os.MkdirAll(master, 0o755); err != nil {
		return nil, fmt.Errorf("simulated 1-wire bus: %w", err)
	}
	return w, os.WriteFile(filepath.Join(master, "w1_master_name"), []byte("w1_bus_master1\n"), 0o644)
}

// Dir is the folder.
func (w *OneWire) Dir() string { return w.dir }

// Plug adds a sensor, or puts another one with the same id in its place. temp is its temperature at a time since boot,
// °C; fault is what is wrong with it then, nil for nothing ever.
func (w *OneWire) Plug(id string, kernel Kernel, temp func(at time.Duration) float64, fault func(at time.Duration) WireFault) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, ok := w.sensors[id]; !ok {
		w.order = append(w.order, id)
	}
	w.sensors[id] = &wireSensor{
		id: id, kernel: kernel, temp: temp, fault: fault,
		hwmon: fmt.Sprintf("hwmon/hwmon%d", len(w.sensors)+1),
	}
	return w.refresh()
}

// Spoil sets what is wrong with a sensor from now on.
func (w *OneWire) Spoil(id string, f WireFault) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	s, ok := w.sensors[id]
	if !ok {
		return fmt.Errorf("no simulated sensor %s", id)
	}
	s.fault = func(time.Duration) WireFault { return f }
	return w.refresh()
}

// Refresh writes the files as they are at this moment of the clock.
func (w *OneWire) Refresh() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.refresh()
}

func (w *OneWire) refresh() error {
	at := w.clock.Boot()
	for _, id := range w.order {
		if err := w.sensors[id].refresh(w.dir, at); err != nil {
			return fmt.Errorf("simulated 1-wire bus: %w", err)
		}
	}
	return nil
}

// Open implements fs.FS on the folder. Errors that a plain file cannot have come from here alone.
func (w *OneWire) Open(name string) (fs.File, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.refresh(); err != nil {
		return nil, err
	}
	for _, s := range w.sensors {
		if s.errno != 0 && name == s.id+"/"+s.hwmon+"/temp1_input" {
			return nil, &fs.PathError{Op: "read", Path: name, Err: s.errno}
		}
	}
	return os.DirFS(w.dir).Open(name)
}

// refresh writes those files that changed.
func (s *wireSensor) refresh(root string, at time.Duration) error {
	fault := WireGood
	if s.fault != nil {
		fault = s.fault(at)
	}
	dir := filepath.Join(root, s.id)
	if fault == WireUnplugged {
		s.files, s.errno = nil, 0
		return os.RemoveAll(dir)
	}
	if s.files == nil {
		if err := s.appear(dir); err != nil {
			return err
		}
	}
	for name, content := range s.content(at, fault) {
		if old, ok := s.files[name]; ok && bytes.Equal(old, content) {
			continue
		}
		if err := replaceFile(filepath.Join(dir, name), content); err != nil {
			return err
		}
		s.files[name] = content
	}
	return nil
}

// appear makes the folder and the files that never change.
func (s *wireSensor) appear(dir string) error {
	s.files = map[string][]byte{}
	if s.kernel == OldKernel {
		return os.MkdirAll(dir, 0o755)
	}
	if err := os.MkdirAll(filepath.Join(dir, s.hwmon), 0o755); err != nil {
		return err
	}
	fixed := map[string]string{"resolution": "12", "features": "0", "ext_power": "1", "conv_time": "750", s.hwmon + "/name": "w1_slave_temp"}
	var errs []error
	for name, text := range fixed {
		errs = append(errs, os.WriteFile(filepath.Join(dir, name), []byte(text+"\n"), 0o644))
	}
	return errors.Join(errs...)
}

// content is what the changing files hold, as w1_therm.c prints it.
func (s *wireSensor) content(at time.Duration, fault WireFault) map[string][]byte {
	pad, milli := scratchpad(s.temp(at))
	switch fault {
	case WirePowerOn:
		pad, milli = [8]byte{0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10}, 85000
	case WireStarved:
		pad, milli = [8]byte{0xFF, 0x07, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10}, 127937
	case WireShorted:
		pad, milli = [8]byte{}, 0
	case WireFloating:
		pad, milli = [8]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, -62
	}
	crc := maxim(pad[:])
	got, ok := crc, true
	switch fault {
	case WireNoise:
		got, ok = crc^0x20, false
	case WireFloating:
		got, ok = 0xFF, false
	}
	if s.kernel == OldKernel {
		if fault == WireSilent {
			return map[string][]byte{"w1_slave": {}}
		}
		return map[string][]byte{"w1_slave": slaveText(pad, got, crc, milli)}
	}
	hw := s.hwmon + "/temp1_input"
	if !ok || fault == WireSilent {
		s.errno = syscall.EIO
		return map[string][]byte{"w1_slave": {}, "temperature": {}, hw: {}}
	}
	s.errno = 0
	text := fmt.Appendf(nil, "%d\n", milli)
	return map[string][]byte{"w1_slave": slaveText(pad, got, crc, milli), "temperature": text, hw: text}
}

// scratchpad is a sensor's memory at a temperature and that temperature as it is then read, in thousandths of a °C: in
// sixteenths of a °C, low byte first, byte 6 the count that remains in the sixteenth (genuine parts).
func scratchpad(c float64) (pad [8]byte, milli int) {
	raw := int16(math.Round(min(max(c, -55), 125) * 16))
	pad = [8]byte{byte(raw), byte(uint16(raw) >> 8), 0x4B, 0x46, 0x7F, 0xFF, byte(0x10 - raw&0xF), 0x10}
	return pad, int(raw) * 1000 / 16
}

// slaveText is the text of a w1_slave file. got is the checksum as read, crc as computed by the kernel.
func slaveText(pad [8]byte, got, crc byte, milli int) []byte {
	verdict := "YES"
	if got != crc {
		verdict = "NO"
	}
	return fmt.Appendf(nil, "% x %02x : crc=%02x %s\n% x %02x t=%d\n", pad, got, crc, verdict, pad, got, milli)
}

// maxim is the 1-wire checksum, bit by bit as the shift register in Maxim application note 27 draws it.
func maxim(data []byte) byte {
	var reg byte
	for _, b := range data {
		for bit := range 8 {
			feedback := reg&1 ^ b>>bit&1
			reg >>= 1
			if feedback == 1 {
				reg ^= 0b1000_1100
			}
		}
	}
	return reg
}

// replaceFile writes a file so that no reader sees half of it.
func replaceFile(name string, content []byte) error {
	if err := os.WriteFile(name+"~", content, 0o644); err != nil {
		return err
	}
	return os.Rename(name+"~", name)
}

var _ fs.FS = (*OneWire)(nil)
