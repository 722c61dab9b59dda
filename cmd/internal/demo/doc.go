// Package demo shows a whole simulated night at high speed: a dough in a kitchen, looked at by simulated chips through
// the real drivers, watched by the real loop into a real store, and told over the real broker to a subscriber that
// prints what a phone would get.
//
// Only the world is simulated, and its clock: it jumps from one wake-up to the next, and stands still while an alert is
// under way, so that the phone rings at the simulated moment at which it would.
//
// With a folder to keep, the store and the simulated time survive: a demo that was killed goes on where it was.
package demo
