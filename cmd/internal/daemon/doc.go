// Package daemon puts the parts together: the store, the stations' loops, the broker and the sender, and the socket
// that the commands talk to. The service uses it with the real clock and chips, the demo with simulated ones.
//
// # Order
//
// At the start: store, broker, socket, loops. At a stop: the loops end, the rangers rest and the readings are written;
// then the socket closes, the sender says "offline", the broker stops and the store is closed. A broker that is away, a
// port that is taken, a chip that does not answer are conditions that are told, never a reason to end.
package daemon
