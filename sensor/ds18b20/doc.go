// Package ds18b20 reads DS18B20 probes through the files that the kernel's w1_therm driver shows.
//
// # Concepts
//
// A Bus is the folder of 1-wire devices, below a root that can be moved; a Probe is one sensor on it, named by its id
// or the only one there. Reading a Probe makes the kernel run a conversion (0.75 s at 12 bits), so it happens in a
// goroutine of its own with a deadline: a wedged bus costs its caller the deadline once, and never a second goroutine.
// Nothing is kept open and the folder is listed anew each time, for it vanishes and comes back with a loose plug.
//
// # What is refused
//
// The hwmon file is asked first where the kernel has one, because only it reports errors; temperature and w1_slave
// signal a failed conversion by an empty read (drivers/w1/slaves/w1_therm.c). Whatever it cannot tell apart is looked up in
// w1_slave, which shows the scratchpad:
//
//   - checksum wrong, NO, or a line that floats (all FF) or is shorted (all 00, whose checksum is right);
//   - a configuration byte that no DS18B20 has;
//   - 127.937 °C (too little current during the conversion) and everything else that no kitchen has;
//   - 85.000 °C, the power-on value, and −0.062 °C (FF FF), unless a reading shortly before lies within a plausible
//     rate of it. Byte 6 of the scratchpad is not asked: the rule that it is 0C at power-on holds for genuine parts only, and
//     0C also stands there at every honest x.25 °C (cpetrich/counterfeit_DS18B20 issue 26).
//
// # Traps
//
// Resolution and features are never written here: the files belong to root, and the values are lost with the probe's
// power. A udev rule sets them; List reports them.
package ds18b20
