// Command nightjar watches a dough sample in a jar through the night and wakes the baker when it is ready.
//
// # The surface
//
// Every subcommand has a file of its own here and no logic: it reads flags, calls the API through package client, and
// prints. These rules hold for all of them:
//
//   - Results go to standard output, everything else to standard error.
//   - The exit code is 0 if it was done, 1 if it failed, 2 if it was asked wrongly (a flag, an argument).
//   - Whatever prints data takes --format json; the keys are those of the API.
//   - An error says what happened and then, on a line of its own, what to do about it.
//   - Times are shown in the machine's zone, short where that leaves no doubt; the JSON has RFC 3339 in UTC.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	os.Exit(report(os.Stderr, run(ctx, os.Args[1:], os.Getenv, os.Stdin, os.Stdout, os.Stderr)))
}
