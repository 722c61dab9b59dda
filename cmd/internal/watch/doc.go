// Package watch is the daemon's loop: it reads each station on its tick, hands the reading to the store, folds it into
// the open run's estimate, issues the alerts whose condition holds and publishes the station's state.
//
// # Concepts
//
// A station is ticked by a goroutine of its own, so that a ranger that hangs holds up nobody else. What a tick found is
// kept under the station's lock; whoever stores an action calls Changed, which folds the run again from the store and
// answers when the estimate knows of it.
//
// Raw is the truth: the loop keeps nothing that a restart would miss. After a restart it folds the run's stored
// readings silently and issues an alert only if its condition holds now and it was not issued before.
//
// A clock that is set or stepped makes a new anchor; the runs are then folded again on the corrected timeline.
//
// # Traps
//
// Nothing here waits for the network: alerts go to the store's outbox and states to a Publisher that must not block.
// A store that cannot write is told as a health condition; watching goes on, in memory, until it can.
package watch
