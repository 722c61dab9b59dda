package ds18b20

import (
	"encoding/hex"
	"strings"
	"testing"

	"nightjar/sensor"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// bytesOf turns "50 05 4b" into bytes.
func bytesOf(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return b
}

func TestCRC8(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, data string
		want       byte
	}{
		// pstolarz/librasp issue 1, a w1_slave file of a working sensor.
		{"published scratchpad", "4b 01 4b 46 7f ff 05 10", 0xE1},
		// The power-on scratchpad as quoted in timofurrer/w1thermsensor issue 46.
		{"power-on", "50 05 4b 46 7f ff 0c 10", 0x1C},
		// Maxim application note 27, the ROM code of its example.
		{"application note 27", "02 1c b8 01 00 00 00", 0xA2},
		{"floating line", "ff ff ff ff ff ff ff ff", 0xC9},
		{"shorted line", "00 00 00 00 00 00 00 00", 0x00},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, crc8(bytesOf(t, tt.data)), tt.name)
	}
}

// The temperatures of the DS18B20 data sheet's table 1, and the kernel's cut towards zero.
func TestMilliAgainstTheDataSheet(t *testing.T) {
	t.Parallel()
	tests := []struct {
		low, high, config byte
		want              int
	}{
		{0xD0, 0x07, 0x7F, 125_000},
		{0x50, 0x05, 0x7F, 85_000},
		{0x91, 0x01, 0x7F, 25_062},
		{0xA2, 0x00, 0x7F, 10_125},
		{0x08, 0x00, 0x7F, 500},
		{0x00, 0x00, 0x7F, 0},
		{0xF8, 0xFF, 0x7F, -500},
		{0x5E, 0xFF, 0x7F, -10_125},
		{0x6F, 0xFE, 0x7F, -25_062},
		{0x90, 0xFC, 0x7F, -55_000},
		{0xFF, 0xFF, 0x7F, -62},
		// A GX20MH01 at 14 bits keeps two more bits in the configuration byte: 25.0625 + 3/64.
		{0x91, 0x01, 0xFF, 25_109},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, scratchpad{tt.low, tt.high, 0, 0, tt.config}.milli(), "%02x%02x", tt.high, tt.low)
	}
}

func TestParseSlave(t *testing.T) {
	t.Parallel()
	const good = "4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n"
	tests := []struct {
		name, text string
		milli      int
		err        error
		says       string
	}{
		{name: "published example", text: good, milli: 20_687},
		{name: "a wrong text beside right bytes (raspberrypi/linux 4124)", milli: -1_250,
			text: "ec ff 4b 46 7f ff 0c 10 82 : crc=82 YES\nec ff 4b 46 7f ff 0c 10 82 t=4094750\n"},
		{name: "empty", text: "", err: sensor.ErrAbsent, says: "empty"},
		{name: "white space only", text: " \n\n", err: sensor.ErrAbsent, says: "empty"},
		{name: "old kernel, checksum wrong", err: sensor.ErrBadValue, says: "checksum wrong",
			text: "4b 01 4b 46 7f ff 05 10 c1 : crc=e1 NO\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n"},
		{name: "old kernel, NO over right bytes", err: sensor.ErrBadValue, says: "kernel",
			text: strings.Replace(good, "YES", "NO", 1)},
		{name: "YES over wrong bytes", err: sensor.ErrBadValue, says: "checksum wrong",
			text: strings.Replace(good, "4b 01", "4b 02", 1)},
		{name: "YES with another checksum", err: sensor.ErrBadValue, says: "kernel",
			text: strings.Replace(good, "crc=e1", "crc=e2", 1)},
		{name: "floating", err: sensor.ErrAbsent, says: "unplugged",
			text: "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n4b 01 4b 46 7f ff 05 10 e1 t=-62\n"},
		{name: "shorted, YES", err: sensor.ErrBadValue, says: "shorted",
			text: "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"},
		{name: "no configuration", err: sensor.ErrBadValue, says: "configuration byte 00",
			text: "4b 01 4b 46 00 ff 05 10 d3 : crc=d3 YES\n4b 01 4b 46 00 ff 05 10 d3 t=20687\n"},
		{name: "clone with other reserved bytes", milli: 20_687,
			text: "4b 01 4b 46 7f 00 00 00 51 : crc=51 YES\n4b 01 4b 46 7f 00 00 00 51 t=20687\n"},
		{name: "temperature missing", err: sensor.ErrBadValue, says: "no temperature", text: strings.Split(good, "\n")[0] + "\n"},
		{name: "temperature no number", err: sensor.ErrBadValue, says: "no temperature", text: strings.Replace(good, "20687", "2068x", 1)},
		{name: "half a line", err: sensor.ErrBadValue, says: "nine bytes", text: "4b 01 4b : crc"},
		{name: "something else", err: sensor.ErrBadValue, says: "no checksum", text: "hello"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			pad, err := parseSlave([]byte(tt.text))
			if tt.err != nil {
				require.ErrorIs(t, err, tt.err)
				assert.ErrorContains(t, err, tt.says)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, tt.milli, pad.milli())
		})
	}
}

func FuzzParseSlave(f *testing.F) {
	f.Add([]byte("4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n"))
	f.Add([]byte("ff ff ff ff ff ff ff ff ff : crc=c9 NO\n00 t=-62\n"))
	f.Add([]byte(""))
	f.Fuzz(func(t *testing.T, text []byte) {
		pad, err := parseSlave(text)
		if err != nil {
			return
		}
		// Whatever passes has a checksum that is right, a configuration, and a temperature that two bytes can hold.
		assert.Equal(t, pad[8], crc8(pad[:8]))
		assert.NotZero(t, pad[4])
		assert.LessOrEqual(t, max(pad.milli(), -pad.milli()), 2_048_000)
	})
}
