// Package scenario describes a simulated night in a file and builds it: buses with chips that look at fermenting dough, a
// 1-wire folder with probes, a kitchen whose temperature moves, and everything that goes wrong, each at its time.
//
// # Concepts
//
// A Scenario is a night as written down: Load reads one (TOML), Default is the one that the demo shows. Build makes a
// World of it on a simulated clock. The World is what the daemon sees of the night, at register and file level: its
// Buses are i2c.Bus, its Probes a folder of 1-wire files. It also knows what the daemon has to find out: True tells a
// station's multiple, level and temperatures at any moment.
//
// Moments are measured from the scenario's start. The same Scenario gives the same World, to the last bit of noise, as
// long as the drivers talk to the chips at the same moments.
//
// # Traps
//
// Nothing has to be stepped: whatever is due happens when a bus or a probe's file is next used. The numbers of the
// kitchen are invented; only the dough and the chips follow measured ranges (see their packages).
package scenario
