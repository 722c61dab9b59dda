// Package vl53l4cd reads the distance sensor VL53L4CD, the first choice for a jar: it is linear from 1 mm on, its cone is
// the narrowest (22° near, 18° at 1 m), and its drift with temperature is an offset, the same at every distance.
//
// Figures of the data sheet (DS13812 Rev 3), for a target that fills the view, 33 ms, no window, offset set at 100 mm:
// 90 % of the ranges within ±7 mm to 100 mm, ±8 mm to 200 mm, ±3 % beyond. These include the part's own error, so they
// are not the noise, which is 1 to 2 mm in 100 ms and falls with the square root of the budget.
//
// # Traps
//
// The sensor's protective film, a window, and fog on it all make the range too short: calibrate in place. The laser is
// class 1 (IEC 60825-1:2014) as long as the budget is not beyond its limit and no lens is added.
package vl53l4cd
