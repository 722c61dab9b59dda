// Package broker is an MQTT broker inside the daemon, for those who have none.
//
// It listens on the loopback interface only, unless there is a password file. What the daemon retains it publishes
// again after each start, so nothing of its own is stored.
//
// # Traps avoided
//
// Its PUBACK to the daemon means that the daemon has talked to itself. What counts is that a subscriber acknowledged a
// message, which Options.Acknowledged tells.
//
// The library's default lets retained messages expire after a day, counted on the wall clock, so that setting the clock
// of a machine without a clock chip wipes them (mochi-mqtt/server issue 444): expiry is switched off here. Its default
// limits are open-ended: here clients, sessions, packets, queues and retained topics are bounded. A returning
// subscriber gets what it missed in an order sorted by whole seconds: here it is the order of arrival.
package broker
