// Package client is how a command talks to nightjar: over the running daemon's socket, or, where none answers, to the
// same handler in its own process over the opened store. Whoever uses it need not know which.
package client
