// Package check tells what is missing on this machine, each thing with its remedy: the I2C bus and who may use it, the
// distance sensors, the probes, the broker, the clock, the disk, the store, the service.
//
// The kernel's files are read below a root that can be moved, and whatever else the machine would answer (access
// rights, free space, connections) is asked through a function of Machine, so that tests show every answer.
package check
