package vl53

import (
	"encoding/binary"
	"errors"

	"nightjar/rise"
)

// BlockLen is the length of the result block that a Dev reads, from register 0x0089 on.
const BlockLen = 15

// Result is a decoded result block.
type Result struct {
	// Raw is the chip's range status, 0 to 31.
	Raw uint8
	// Stream counts the results since the start: 0 to 255, then on from 128.
	Stream uint8
	// SPADs is how many receivers were in use; 0 if the chip did not range at all.
	SPADs float64
	// SignalMcps and AmbientMcps are rates, 10⁶ counts a second; SigmaMM is the chip's estimate of the noise, mm.
	SignalMcps, AmbientMcps, SigmaMM float64
	// RangeMM is the distance, mm.
	RangeMM uint16
}

// ErrShort is returned for a block that is too short.
var ErrShort = errors.New("result block too short")

// Decode decodes a result block. Rates are kept in full: ST's driver keeps them as thousands in 16 bits, which wrap.
func Decode(b []byte) (Result, error) {
	if len(b) < BlockLen {
		return Result{}, ErrShort
	}
	word := func(i int) float64 { return float64(binary.BigEndian.Uint16(b[i:])) }
	return Result{
		Raw:         b[0] & 0x1F, // the upper bits mean other things
		Stream:      b[2],
		SPADs:       word(3) / 256, // 8.8
		SignalMcps:  word(5) / 128, // 9.7
		AmbientMcps: word(7) / 128, // 9.7
		SigmaMM:     word(9) / 4,   // 14.2
		RangeMM:     binary.BigEndian.Uint16(b[13:]),
	}, nil
}

// status decodes the raw range status (UM2510, UM2931). 13 is a region of interest off the array, 18 comes once after a
// start, 19 has no check against wrap-around; those not named mean that there was no update.
func status(raw uint8) rise.Status {
	switch raw {
	case 9:
		return rise.StatusGood
	case 1, 2, 3, 17: // laser, VHV
		return rise.StatusHardware
	case 4, 12, 23: // signal below the threshold; no more than crosstalk; a target, but too little
		return rise.StatusWeak
	case 5, 7: // phase out of bounds; wrapped
		return rise.StatusWrapped
	case 6, 22: // sigma above the threshold; two targets merged into one
		return rise.StatusNoisy
	case 8: // clipped at the minimum
		return rise.StatusTooNear
	}
	return rise.StatusOther
}

// noRange is the first value of the range register that the chips of the family give for none, whatever the status says.
const noRange = 8190

// Sample is the result in the terms that all rangers share.
func (r Result) Sample() rise.Sample {
	s := rise.Sample{
		RangeMM:     float64(r.RangeMM),
		Status:      status(r.Raw),
		SignalMcps:  rise.Known(r.SignalMcps),
		AmbientMcps: rise.Known(r.AmbientMcps),
		SigmaMM:     rise.Known(r.SigmaMM),
	}
	if s.Status == rise.StatusGood && (r.SPADs == 0 || r.RangeMM >= noRange) {
		s.Status = rise.StatusOther
	}
	return s
}
