package vl53l4cd

import (
	"fmt"
	"time"
)

// The budgets that the chip allows for a single range (UM2931).
const (
	MinBudget = 10 * time.Millisecond
	MaxBudget = 200 * time.Millisecond
)

// timing is what the budget and the period come down to in registers.
type timing struct {
	a, b     uint16 // RANGE_CONFIG__TIMEOUT_MACROP_A and _B
	interval uint32 // SYSTEM__INTERMEASUREMENT_PERIOD
}

// encodeTiming computes the timing registers from the chip's oscillator frequency (0x0006), its calibration value
// (0x00DE), and the budget. An interval of 0 is continuous ranging; one longer than the budget is a range each so
// often, with the chip at rest between (UM2931). Formulas as in ST's driver.
func encodeTiming(osc, pll uint16, budget, interval time.Duration) (timing, error) {
	if osc == 0 {
		return timing{}, fmt.Errorf("oscillator frequency reads 0")
	}
	if budget < MinBudget || budget > MaxBudget {
		return timing{}, fmt.Errorf("timing budget %v: must be %v to %v", budget, MinBudget, MaxBudget)
	}
	us := uint64(budget.Microseconds())
	var t timing
	switch {
	case interval == 0:
		us -= 2500
	case interval > budget:
		us = (us - 4300) / 2
		t.interval = uint32(float64(interval.Milliseconds()) * float64(pll&0x3FF) * 1.055)
	default:
		return timing{}, fmt.Errorf("interval %v: must be longer than the timing budget %v, or 0", interval, budget)
	}
	macro := uint64(2304) * (1 << 30 / uint64(osc)) >> 6 // a macro period of one laser clock, 1/4096 µs × 64
	t.a = encodeTimeout(us, macro*16>>6)
	t.b = encodeTimeout(us, macro*12>>6)
	return t, nil
}

// encodeTimeout turns µs into macro periods of a length in 1/4096 µs and those into (low byte << high byte) + 1.
func encodeTimeout(us, macro uint64) uint16 {
	ls := (us<<12+macro/2)/macro - 1
	ms := uint16(0)
	for ls > 0xFF {
		ls >>= 1
		ms++
	}
	return ms<<8 | uint16(ls)
}
