// Package web serves the JSON API over HTTP: on the daemon's unix socket, and in process to a command that finds no
// daemon.
//
// A Handler turns requests into calls of a desk.Desk and answers in the types of package api; it decides nothing itself.
// Every error is an api.Problem. Bodies are limited, and unknown keys in them are refused by name, since a misspelt
// key that is silently left out could be the one that mattered.
//
// Listen makes the unix socket: an old one is removed only if it is a socket that nobody answers, and its mode is set
// before anyone is told of it. Nothing here listens on a network.
package web
