// Package vl53 drives what the VL53L4CD and the VL53L1X have in common: one register map, one way to start, to wait, to
// read a result and to clear it, one way to calibrate. The chips' own packages give it a Model, which holds the rest.
//
// # Concepts
//
// A Dev ranges in bursts. Between two bursts the chip stands still. A burst checks that the chip still has its settings,
// starts continuous ranging, sleeps for the timing budget instead of asking every millisecond, reads the result block, clears
// it, and stops at the end. The first range after each start is dropped: it has no check against wrap-around.
//
// The settings come from ST's ultra lite drivers (UM2931 Rev 3, UM2510 Rev 4) and were checked against recorded traffic
// of two independent drivers for each chip. Register names are ST's.
//
// # Traps
//
// While the interrupt is not cleared, ranging is on hold and the result stays old (VL53L4CD DS13812): read, then clear.
// After any error, and after a dip of the supply, the chip's settings are not to be trusted: the next burst sets up
// everything anew. Calibration and address live in the chip's memory only.
package vl53
