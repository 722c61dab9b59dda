// Package vl53 drives what the VL53L4CD and the VL53L1X have in common besides what all time-of-flight chips have: one
// register map, one way to set up, to start, to read a result and to clear it, one way to calibrate. The chips' own packages
// give it a Model, which holds the rest.
//
// # Concepts
//
// Package tof leads the chip's life; this one fills in how each step is done. The first range after each start is dropped:
// it has no check against wrap-around. Results carry a count, so that a chip that repeats itself is found out after three.
//
// The settings come from ST's ultra lite drivers (UM2931 Rev 3, UM2510 Rev 4) and were checked against recorded traffic
// of two independent drivers for each chip. Register names are ST's.
//
// # Traps
//
// While the interrupt is not cleared, ranging is on hold and the result stays old (VL53L4CD DS13812): read, then clear.
package vl53
