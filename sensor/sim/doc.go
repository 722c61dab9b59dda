// Package sim holds simulated chips, the bus that they live on and the clock that they live by, so that the real
// drivers and the whole daemon can run through a night in seconds, and through every fault on demand.
//
// # Concepts
//
// A Clock is a sensor.Clock that jumps to the next wake-up once every loop sleeps. A Bus is an i2c.Bus: Devices attach
// to it, every transfer counts its bits, and a Fault can spoil transfers. A chip (VL53L4CD, VL53L1X and so on) is a
// Device at register level: the driver above it writes and reads the registers that the real chip has, and the chip
// takes its time, holds its results until they are cleared, forgets everything when the power dips. What a chip sees is
// a Scene: a target at a distance, at a moment since boot.
//
// # Traps
//
// Transfers take no time on the simulated clock: Bus.Busy tells what they would have taken. The optical figures are
// chosen to agree with the data sheets' ranges and noise; they are not measurements of a chip.
package sim
