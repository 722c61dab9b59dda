// Package calibrate leads a person through the calibration of a jar at a terminal: the sensor warms up, a matte white
// card is ranged on the floor and on stacks measured by ruler, the lid is lifted and put back three times, and what the
// jar can do is said. The jar is stored at the very end, so that breaking off changes nothing.
//
// It measures and computes through the API alone. What is shown while a target is looked at is the average so far;
// a jar that rocks, a window that fogs and a sensor that still warms up are refused (rise.Average).
package calibrate
