package vl53l0x

import "time"

// The bounds of the timing budget.
const (
	MinBudget = 20 * time.Millisecond
	MaxBudget = time.Second
)

// What a measurement takes besides its light, µs, by ST's driver. Adafruit's copy of it counts a start of 1320 µs when setting and 1910 when
// getting; the other two recorded drivers count 1910 both times.
const (
	startUS = 1910
	endUS   = 960
	dssUS   = 690
	preUS   = 660
	finalUS = 550
)

// timing is what the budget depends on: the periods of the laser, clocks, and the timeouts, macro periods.
type timing struct {
	prePeriod, finalPeriod int
	msrc, pre              int
}

// macroNS is the macro period for a period of the laser, ns: 2304 × clocks × 1655 ps.
func macroNS(clocks int) int64 { return (2304*int64(clocks)*1655 + 500) / 1000 }

func toUS(periods, clocks int) int64 { return (int64(periods)*macroNS(clocks) + 500) / 1000 }

func toPeriods(us int64, clocks int) int64 { return (us*1000 + macroNS(clocks)/2) / macroNS(clocks) }

// besides is what a measurement takes apart from its final range, µs.
func (t timing) besides() int64 {
	return startUS + endUS + 2*(toUS(t.msrc, t.prePeriod)+dssUS) + toUS(t.pre, t.prePeriod) + preUS + finalUS
}

// final is the value of the final range's timeout register for a budget; false if the budget is too short.
func (t timing) final(budget time.Duration) (uint16, bool) {
	left := budget.Microseconds() - t.besides()
	if left <= 0 {
		return 0, false
	}
	return encodeTimeout(toPeriods(left, t.finalPeriod) + int64(t.pre)), true // the pre-range's are counted in
}

// budget is the inverse of final.
func (t timing) budget(final uint16) time.Duration {
	us := t.besides() + toUS(int(decodeTimeout(final))-t.pre, t.finalPeriod)
	return time.Duration(us) * time.Microsecond
}

// encodeTimeout packs macro periods into (LSB << MSB) + 1, rounding down.
func encodeTimeout(periods int64) uint16 {
	if periods <= 0 {
		return 0
	}
	lsb, msb := periods-1, uint16(0)
	for ; lsb > 0xFF; msb++ {
		lsb >>= 1
	}
	return msb<<8 | uint16(lsb)
}

func decodeTimeout(raw uint16) int64 { return int64(raw&0xFF)<<min(raw>>8, 32) + 1 }
