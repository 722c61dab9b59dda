// Package vl6180x reads the distance sensor VL6180X, which is good for small jars in which the dough comes near: 10 to
// 100 mm, 200 mm with luck.
//
// Figures of the data sheet (DocID026171 Rev 7), grey 17 % at 50 mm in the dark: noise at most 2 mm; offset error at most
// 13 mm before it is calibrated; drift 9 mm typical, 15 mm at most over −10 to 60 °C.
//
// # Concepts
//
// Every range is a single shot. In continuous mode the chip's behaviour cannot be predicted where the period is too short
// for the convergence time, and it has been seen to repeat itself after hours without an explanation
// (adafruit/Adafruit_CircuitPython_VL6180X issue 26); dough needs neither its speed nor its risk. The period register is
// set by the rule all the same, in case something else starts the mode.
//
// The chip needs a block of private settings after each reset, without which it says 32 mm for everything near. It is
// written at every set-up.
//
// # Traps
//
// The chip has no software reset. One that the supply dipped answers and ranges, wrongly: so register 0x0016, which then
// reads 1, is read with every result. SigmaMM is a limit on the spread of a burst, for the chip gives no estimate of noise.
// Budgets beyond 68 ms give no more light. The laser is class 1 (IEC 60825-1:2007) as long as no lens is added.
package vl6180x
