// Package machine is what the daemon knows of the machine it runs on: its clock, the kernel's boot id, whether the clock
// is set, where its files belong, and the supervisor that started it.
//
// Everything read from the kernel is read below a root that tests can move.
package machine
