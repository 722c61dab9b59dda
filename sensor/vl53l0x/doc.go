// Package vl53l0x reads the distance sensor VL53L0X, which is workable for a jar: from 30 to 50 mm on, with the widest cone
// (25°), and with more noise and more drift than its successors. Average hard.
//
// Figures of the data sheet (DS11555 Rev 6): ±3 % at 200 ms, ±5 % at 20 ms, to 1.2 m; offset drift over temperature
// ±10 mm typical, ±30 mm at most. The ranges below 30 mm are not to be trusted: a nearer surface reads as about 20 mm.
//
// # Concepts
//
// The chip has pages of registers, selected by register 0xFF; ST names those of page 0 only. The set-up is ST's, to the
// order of its writes, as recorded from three independent drivers: reference receivers (SPADs) from the chip's memory, a
// table of 80 tuning writes, the timing budget, and two calibrations. Under a window the reference receivers must be
// measured instead, which Opts.Window asks for.
//
// ST's driver computes an estimate of noise on the host by a long formula and refuses what it finds noisy. Here the spread of
// the burst itself decides: SigmaMM is its limit.
//
// # Traps
//
// 8190 and 8191 are no distances. The laser is class 1 (IEC 60825-1:2014) as long as no lens is added.
package vl53l0x
