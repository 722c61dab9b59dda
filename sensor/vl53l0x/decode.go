package vl53l0x

import (
	"encoding/binary"
	"errors"

	"nightjar/rise"
)

// blockLen is the length of the result block.
const blockLen = 12

// noRange is the first value of the range register that stands for none, whatever the status says: the chip gives 8192
// less a number.
const noRange = 8190

var errShort = errors.New("result block too short")

// result is a decoded result block.
type result struct {
	// device is the chip's own status, 0 to 15.
	device                  uint8
	spads                   float64
	signalMcps, ambientMcps float64
	rangeMM                 uint16
}

// decode decodes the block that begins at register 0x14.
func decode(b []byte) (result, error) {
	if len(b) < blockLen {
		return result{}, errShort
	}
	word := func(i int) float64 { return float64(binary.BigEndian.Uint16(b[i:])) }
	return result{
		device:      b[0] >> 3 & 0x0F,
		spads:       word(2) / 256, // 8.8
		signalMcps:  word(6) / 128, // 9.7
		ambientMcps: word(8) / 128, // 9.7
		rangeMM:     binary.BigEndian.Uint16(b[10:]),
	}, nil
}

// status decodes the chip's status, by the names in ST's driver.
func (r result) status() rise.Status {
	switch r.device {
	case 11: // range complete
		if r.spads == 0 || r.rangeMM >= noRange {
			return rise.StatusOther
		}
		return rise.StatusGood
	case 1, 2, 3: // laser continuity, laser watchdog, no VHV value
		return rise.StatusHardware
	case 4: // MSRC: no target
		return rise.StatusWeak
	case 6, 9: // phase check, phase consistency
		return rise.StatusWrapped
	case 8, 10: // TCC, clipped at the minimum
		return rise.StatusTooNear
	}
	return rise.StatusOther
}
