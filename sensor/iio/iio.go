// Package iio ranges with a distance sensor that a driver of the kernel owns: an IIO device with a distance, for people who
// load the kernel's vl53l0x-i2c, vl53l1x-i2c or vl6180 driver.
//
// It is a fallback, not a substitute for the drivers of this project: the kernel gives no status (vl53l0x, vl6180), no
// signal, no estimate of noise, no region and no calibration; its vl53l0x driver does none of the chip's set-up, its vl6180
// driver leaves out the settings without which near surfaces read as 32 mm; none sets a chip up again after a dip of the
// supply (drivers/iio/proximity/vl53l0x-i2c.c, vl53l1x-i2c.c, drivers/iio/light/vl6180.c).
//
// # What is refused
//
// For want of a status the value alone decides: 8190 and 8191, 0, the 20 that a clipped vl53l0x says, vl6180's 255 and 32. An
// EIO of vl53l1x is a range that its chip did not find good. A burst that spreads too far is noisy.
package iio

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/internal/sysfs"
	"nightjar/sensor/internal/tof"

	"periph.io/x/conn/v3/physic"
)

// Root is where the kernel shows its IIO devices.
const Root = "/sys/bus/iio/devices"

// Opts are the options of a Dev. Only Clock must be set.
type Opts struct {
	// Clock is where the time between two ranges is taken from.
	Clock sensor.Clock
	// Every is the least time between two ranges; 0 is 50 ms. The kernel's own wait comes on top.
	Every time.Duration
	// SigmaMM is the standard deviation of a burst beyond which its ranges do not count as good, mm; 0 is 15.
	SigmaMM float64
	// Timeout bounds the wait for one range, in real time, because what it bounds is the kernel; 0 is 2 s.
	Timeout time.Duration
}

// Dev is a distance sensor of the kernel's. It must not be used by two goroutines at once.
type Dev struct {
	files   fs.FS
	want    string // the device asked for, "" for the only one
	opts    Opts
	call    sysfs.Call[answer]
	burst   rise.Burster
	latest  []rise.Sample
	doubter tof.Doubter

	mu     sync.Mutex // guards device and name for String
	device string
	name   string
}

// answer is what the kernel said to one question.
type answer struct {
	mm  float64
	err error
}

// Open returns the device with a name such as iio:device0 on this machine, or with "" the only one that knows a distance.
func Open(device string, opts *Opts) (*Dev, error) { return New(os.DirFS(Root), device, opts) }

// New is Open in a folder like Root. It looks for the device; ErrAbsent, ErrIdentity and ErrBus tell what is in the way.
func New(files fs.FS, device string, opts *Opts) (*Dev, error) {
	d := &Dev{files: files, want: device}
	if opts != nil {
		d.opts = *opts
	}
	if d.opts.Clock == nil {
		return nil, errors.New("IIO distance sensor: a clock is needed")
	}
	if device != "" && !fs.ValidPath(device) {
		return nil, fmt.Errorf("IIO distance sensor %q: must be a name below %s, such as iio:device0", device, Root)
	}
	d.opts.Every = orDefault(d.opts.Every, 50*time.Millisecond)
	d.opts.Timeout = orDefault(d.opts.Timeout, 2*time.Second)
	d.opts.SigmaMM = orDefault(d.opts.SigmaMM, 15)
	if err := d.find(); err != nil {
		return nil, err
	}
	return d, nil
}

func orDefault[T int | float64 | time.Duration](v, d T) T {
	if v <= 0 {
		return d
	}
	return v
}

// Device is a distance sensor that the kernel shows.
type Device struct {
	// Device is its folder, such as iio:device0; Name the chip, as its driver calls it.
	Device string `json:"device"`
	Name   string `json:"name"`
}

// List lists the devices that know a distance. It returns ErrBus if this machine has no IIO devices at all.
func List(files fs.FS) ([]Device, error) {
	entries, err := fs.ReadDir(files, ".")
	if err != nil {
		return nil, fmt.Errorf("IIO devices: %w: %w", sensor.ErrBus, err)
	}
	var found []Device
	for _, e := range entries {
		if _, err := fs.Stat(files, e.Name()+"/in_distance_raw"); err != nil {
			continue
		}
		name, err := sysfs.Read(files, e.Name()+"/name")
		if err != nil {
			name = []byte("unknown")
		}
		found = append(found, Device{e.Name(), strings.TrimSpace(string(name))})
	}
	return found, nil
}

// find looks for the device anew: its number changes when the driver is loaded again.
func (d *Dev) find() error {
	found, err := List(d.files)
	if err != nil {
		return err
	}
	if d.want != "" {
		found = slices.DeleteFunc(found, func(f Device) bool { return f.Device != d.want })
	}
	switch len(found) {
	case 0:
		return fmt.Errorf("IIO distance sensor %s: %w: is the kernel's driver loaded?", d.want, sensor.ErrAbsent)
	case 1:
		d.mu.Lock()
		defer d.mu.Unlock()
		d.device, d.name = found[0].Device, found[0].Name
		return nil
	}
	return fmt.Errorf("IIO distance sensor: %w: several, name one: %v", sensor.ErrIdentity, found)
}

// String implements sensor.Ranger.
func (d *Dev) String() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return fmt.Sprintf("%s by the kernel (%s)", d.name, d.device)
}

// Precision is the step of the kernel's value.
func (d *Dev) Precision() physic.Distance { return physic.MilliMetre }

// Halt implements sensor.Ranger. The kernel rests the chip by itself.
func (d *Dev) Halt() error { return nil }

// Range implements sensor.Ranger.
func (d *Dev) Range(ctx context.Context, n int) (rise.Burst, error) {
	if n < 1 {
		return rise.Burst{}, fmt.Errorf("range %d times with %v: must be 1 or more", n, d)
	}
	if err := d.find(); err != nil {
		return rise.Burst{}, err
	}
	d.latest = d.latest[:0]
	dev := Device{d.device, d.name} // a question that the kernel does not answer keeps its own
	ask := func() answer { return ask(d.files, dev) }
	for range n {
		if err := d.opts.Clock.Sleep(ctx, d.opts.Every); err != nil {
			return rise.Burst{}, err
		}
		a, err := d.call.Do(ctx, d.opts.Timeout, ask)
		if err == nil {
			err = a.err
		}
		if err != nil {
			return rise.Burst{}, fmt.Errorf("range with %v: %w", d, err)
		}
		d.latest = append(d.latest, rise.Sample{RangeMM: a.mm, Status: status(d.name, a.mm)})
	}
	d.doubter.Judge(d.latest, d.opts.SigmaMM)
	return d.burst.Burst(d.latest, n), nil
}

// none is the answer of a chip that found no good range.
const none = -1

// ask reads a range, mm. The scale is in metres a count.
func ask(files fs.FS, d Device) answer {
	scale, err := sysfs.ReadFloat(files, d.Device+"/in_distance_scale")
	if err != nil {
		return answer{err: err}
	}
	raw, err := sysfs.ReadFloat(files, d.Device+"/in_distance_raw")
	switch {
	case errors.Is(err, syscall.EIO) && d.Name == "vl53l1x":
		return answer{mm: none}
	case errors.Is(err, syscall.EIO): // vl6180's own wait has ended
		return answer{err: fmt.Errorf("%w: %w", sensor.ErrTimeout, err)}
	case err != nil:
		return answer{err: err}
	case scale <= 0:
		return answer{err: fmt.Errorf("scale %g: %w", scale, sensor.ErrBadValue)}
	}
	return answer{mm: raw * (scale * 1000)} // so: 0.001 × 1000 is 1 exactly
}

// status is what a value alone tells, by chip.
func status(name string, mm float64) rise.Status {
	switch {
	case mm == none:
		return rise.StatusOther
	case mm < 0, mm >= 8190, name == "vl6180" && mm >= 255:
		return rise.StatusOther
	case name == "vl6180" && mm == 32: // what it says for everything near without its private settings
		return rise.StatusOther
	case mm == 0, name == "vl53l0x" && mm == 20:
		return rise.StatusTooNear
	}
	return rise.StatusGood
}

var (
	_ sensor.Ranger                            = (*Dev)(nil)
	_ interface{ Precision() physic.Distance } = (*Dev)(nil)
)
