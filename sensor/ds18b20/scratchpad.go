package ds18b20

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"nightjar/sensor"
	"nightjar/sensor/internal/sysfs"
)

// scratchpad is the sensor's memory: temperature (2 bytes, little endian), two alarm bytes, configuration, three
// reserved bytes, CRC-8 (DS18B20 data sheet, memory map).
type scratchpad [9]byte

// parseSlave reads the text of a w1_slave file. The first line holds the bytes just read and the kernel's verdict; the
// second repeats the last good ones and a temperature computed from the fresh ones, also if the verdict is NO.
func parseSlave(text []byte) (scratchpad, error) {
	var pad scratchpad
	if len(bytes.TrimSpace(text)) == 0 {
		return pad, sysfs.ErrEmpty
	}
	first, second, _ := strings.Cut(string(text), "\n")
	head, verdict, ok := strings.Cut(first, ":")
	if !ok {
		return pad, malformed("no checksum in %q", first)
	}
	raw, err := hex.DecodeString(strings.ReplaceAll(head, " ", ""))
	if err != nil || len(raw) != len(pad) {
		return pad, malformed("want nine bytes, have %q", head)
	}
	copy(pad[:], raw)
	if err := pad.check(); err != nil {
		return pad, err
	}
	words := strings.Fields(verdict)
	if len(words) != 2 || words[1] != "YES" || words[0] != fmt.Sprintf("crc=%02x", pad[8]) {
		return pad, fmt.Errorf("checksum refused by the kernel: %w", sensor.ErrBadValue)
	}
	_, t, ok := strings.Cut(second, "t=")
	if _, err := strconv.Atoi(strings.TrimSpace(t)); !ok || err != nil {
		return pad, malformed("no temperature in %q", second)
	}
	return pad, nil
}

// check tells whether the bytes can be those of a working sensor.
func (s scratchpad) check() error {
	switch {
	case s == scratchpad{}:
		return fmt.Errorf("every bit is 0: the data line is shorted or half connected: %w", sensor.ErrBadValue)
	case bytes.Count(s[:], []byte{0xFF}) == len(s):
		return fmt.Errorf("every bit is 1: the sensor is unplugged: %w", sensor.ErrAbsent)
	case crc8(s[:8]) != s[8]:
		return fmt.Errorf("checksum wrong: noise on a long or loose cable: %w", sensor.ErrBadValue)
	case !s.configKnown():
		return fmt.Errorf("configuration byte %02x is no DS18B20's: %w", s[4], sensor.ErrBadValue)
	}
	return nil
}

// configKnown: 9 to 12 bits of resolution, or a GX20MH01 (same family number) set to 13 or 14.
func (s scratchpad) configKnown() bool {
	switch s[4] {
	case 0x1F, 0x3F, 0x5F, 0x7F:
		return true
	}
	return s.fine()
}

// fine: bit 7 of the configuration marks a GX20MH01 that counts in 1/64 °C (w1_DS18B20_convert_temp).
func (s scratchpad) fine() bool { return s[4]&0x80 != 0 }

// milli is the temperature in thousandths of a °C, cut towards zero as the kernel does. It is computed from the bytes,
// which the checksum covers, and not taken from the kernel's text: some kernels print negative temperatures as
// thousands of degrees (raspberrypi/linux issue 4124).
func (s scratchpad) milli() int {
	raw := uint16(s[1])<<8 | uint16(s[0])
	if s.fine() {
		return int(int16(raw<<2|uint16(s[4]&3))) * 1000 / 64
	}
	return int(int16(raw)) * 1000 / 16
}

// crc8 is the 1-wire checksum: polynomial x⁸+x⁵+x⁴+1, low bit first, starting at 0 (Maxim application note 27).
func crc8(data []byte) byte {
	var crc byte
	for _, b := range data {
		crc ^= b
		for range 8 {
			odd := crc&1 != 0
			crc >>= 1
			if odd {
				crc ^= 0x8C
			}
		}
	}
	return crc
}

func malformed(format string, args ...any) error {
	return fmt.Errorf("not a w1_therm file: "+format+": %w", append(args, sensor.ErrBadValue)...)
}
