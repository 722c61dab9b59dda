// Package vl53l1x reads the distance sensor VL53L1X in its short mode, by the settings of ST's ultra lite driver, which are
// also the Linux kernel's.
//
// Drivers in the style of ST's full driver scale the range by 2011/2048 and do not agree with this one: an offset found
// with one style is wrong in the other.
//
// Figures of the data sheet (DocID031281 Rev 2): from 40 mm to 1.3 m in short mode, ±20 mm; noise 0.15 to 1 %. The receiver's
// field is 27° with all receivers, 20° with 8 × 8 and 15° with 4 × 4. The emitter lights 27° whatever the region (AN5191):
// in a jar the walls are lit, and only the receiver can look past them.
//
// # Traps
//
// Nearer than 40 mm the range is not linear; such ranges count as too near. A region over the edge of the array gives
// status 13 for ever; it is refused at the start. The offset depends on the region: calibrate it with the one in use.
// ST's table of timings has, for 33 ms in short mode, the second value of 20 ms, 006E, which halves the light of that
// range; the values used here are those that ST's own formula gives.
package vl53l1x
