package vl6180x

import (
	"encoding/binary"
	"errors"

	"nightjar/rise"
)

// A block is the status and the 30 bytes from 0x0062 on.
const (
	resultLen = 30
	blockLen  = 1 + resultLen
	// shortLen is as far as the count of returned light, which tells one result from the next.
	shortLen = 14
	// lightEvery is after how many results the whole block is read.
	lightEvery = 20
)

// noRange is what the range register says for none.
const noRange = 255

var errShort = errors.New("result block too short")

// result is a decoded block.
type result struct {
	// code is the chip's error code, 0 to 15.
	code    uint8
	rangeMM uint8
	// signalMcps is the rate of the return, ambientMcps the stray light in it; unknown if nothing converged.
	signalMcps, ambientMcps rise.Num
}

// decode decodes a block. The ambient rate is the ambient count, which stands for six, in the convergence time (AN4545).
func decode(b []byte) (result, error) {
	if len(b) < blockLen {
		return result{}, errShort
	}
	at := func(reg int) []byte { return b[1+reg-regResult:] }
	r := result{
		code: b[0] >> 4, rangeMM: at(regResult)[0],
		signalMcps: rise.Known(float64(binary.BigEndian.Uint16(at(0x0066))) / 128), // 9.7
	}
	if us := binary.BigEndian.Uint32(at(0x007C)); us > 0 {
		r.ambientMcps = rise.Known(6 * float64(binary.BigEndian.Uint32(at(0x0074))) / float64(us))
	}
	return r, nil
}

// status decodes the error code (data sheet, register 0x004D).
func (r result) status() rise.Status {
	switch r.code {
	case 0:
		if r.rangeMM == noRange || r.signalMcps.Or(0) == 0 { // light that nothing sent back has no distance
			return rise.StatusOther
		}
		return rise.StatusGood
	case 1, 2, 3, 4, 5: // laser continuity, laser watchdog, oscillator
		return rise.StatusHardware
	case 6, 7, 8: // early convergence, no convergence, ignored
		return rise.StatusWeak
	case 11: // signal against noise: too much light
		return rise.StatusNoisy
	case 12, 14: // raw and final underflow: touching
		return rise.StatusTooNear
	case 13, 15: // raw and final overflow: beyond some 200 mm
		return rise.StatusWrapped
	}
	return rise.StatusOther
}
