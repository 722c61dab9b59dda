package ds18b20

import (
	"io/fs"

	"nightjar/sensor/internal/sysfs"
)

// Info is what the kernel says of a sensor without measuring. A number that it does not say is -1.
type Info struct {
	ID string `json:"id"`
	// Resolution is 9 to 12 bits.
	Resolution int `json:"resolution"`
	// Features: bit 0 has the kernel refuse the power-on value, bit 1 has it poll for the end of a conversion.
	Features int `json:"features"`
	// External is 1 for a sensor with its own supply wire, 0 for one that lives off the data line.
	External int `json:"external"`
	// HWMon tells whether the kernel shows the sensor as a hwmon device, too.
	HWMon bool `json:"hwmon"`
}

// List tells what is on the bus. It returns ErrBus if this machine has no 1-wire bus.
func (b *Bus) List() ([]Info, error) {
	ids, err := b.IDs()
	if err != nil {
		return nil, err
	}
	infos := make([]Info, 0, len(ids))
	for _, id := range ids {
		names, _ := fs.Glob(b.files, id+"/hwmon/hwmon*/temp1_input")
		infos = append(infos, Info{
			ID: id, Resolution: b.number(id + "/resolution"), Features: b.number(id + "/features"),
			External: b.number(id + "/ext_power"), HWMon: len(names) > 0,
		})
	}
	return infos, nil
}

// number reads a file that holds one, or returns -1.
func (b *Bus) number(name string) int {
	text, err := sysfs.Read(b.files, name)
	if err != nil {
		return -1
	}
	v, err := sysfs.Int(text)
	if err != nil || v < 0 {
		return -1
	}
	return v
}
