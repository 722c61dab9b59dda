// Package tof drives what the time-of-flight chips have in common, unlike as their registers are: a life between resets,
// a burst of ranges that is right or an error, and calibration by a card at a known distance.
//
// # Concepts
//
// A Dev finds its chip, resets it, gives it its address, has it set up, and ranges in bursts. How any of that is done on a
// given chip is in its Ops, which the chip's own package fills in. Between two bursts the chip stands still; each burst
// first asks whether the settings still stand, and begins with a reset if they do not.
//
// # Traps
//
// After any error the chip's settings are not to be trusted: the next burst sets up everything anew. Calibration and
// address live in the chip's memory only.
package tof
