package vl6180x

import "time"

// The bounds of the time for a single range.
const (
	MinBudget = 15 * time.Millisecond
	MaxBudget = 68 * time.Millisecond
)

// besides is what a range takes apart from the convergence time, at most (data sheet 2.5: 3.2 ms before it; 5 ms is what the
// rule for the period counts).
const besides = 5 * time.Millisecond

// averaging is the value of 0x010A, and with it the time of averaging: 1300 µs + 64.5 µs × 48 (data sheet).
const averaging = 0x30

// convergence is the value of the convergence register, ms, for a budget between the bounds.
func convergence(budget time.Duration) byte { return byte((budget - besides) / time.Millisecond) }

// period is the value of the period register for a convergence time, ms: the least multiple of 10 ms, less one, with
// convergence + 5 ms ≤ 0.9 × period (data sheet 2.5).
func period(convergence byte) byte { return byte((int(convergence)+5+8)/9 - 1) }

// early is the threshold of early convergence, as ST's driver computes it: 85 % of the counts expected in half a
// millisecond. samples is register 0x0109, light register 0x00B8.
func early(convergence, samples byte, light uint32) uint16 {
	readout := (int64(samples&7)+1)*(94+10*averaging) + 200
	us := int64(convergence)*1000 - readout
	if us <= 0 {
		return 0
	}
	return uint16(min(85*500*int64(light)*256/(us*100), 0xFFFF))
}
