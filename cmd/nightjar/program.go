package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"nightjar/cmd/internal/config"
)

// The exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitMisuse = 2
)

// program is what every subcommand has in common: the environment, the streams and the global flags.
type program struct {
	getenv         func(string) string
	stdin          io.Reader
	stdout, stderr io.Writer
	places         places
}

// run is nightjar: it does what args say and returns when it is done or ctx ends. It never ends the process.
func run(ctx context.Context, args []string, getenv func(string) string, stdin io.Reader, stdout, stderr io.Writer) error {
	p := &program{getenv: getenv, stdin: stdin, stdout: stdout, stderr: stderr, places: places{getenv: getenv}}
	root := p.command()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	return root.ExecuteContext(ctx)
}

// command is the root of all subcommands.
func (p *program) command() *cobra.Command {
	root := &cobra.Command{
		Use:   "nightjar",
		Short: "Watch a dough rise through the night and wake the baker when it is ready",
		Long: `nightjar watches a small dough sample in a straight jar: a distance sensor looks down on it, a thermometer
stands beside it. It says how far the dough has risen and when it will be ready, and wakes you once, then.

The service (nightjar watch) does the watching. All other commands ask it, or open its store themselves
where it is not running: you need not know which.

A first night:
  nightjar check                                         is everything there?
  nightjar jars add tall --floor-mm 142 --diameter-mm 71   measure the jar once
  nightjar start --jar tall --target 2                   the sample is in the jar
  nightjar status                                        how far, and when
  nightjar end                                           the dough is taken out

Exit codes: 0 done, 1 failed, 2 asked wrongly.`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return misusef("see nightjar --help", "there is no command %q", args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	p.places.flags(root.PersistentFlags())
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		see := "see " + cmd.CommandPath() + " --help"
		var flag *pflag.InvalidValueError
		if errors.As(err, &flag) {
			var hint string
			if hint, err = notA(flag); hint != "" {
				see = hint + "; " + see
			}
		}
		return misusef(see, "%w", err)
	})
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(p.subcommands()...)
	p.completing(root)
	return root
}

// notA says what a flag's value should have been, instead of how it could not be parsed.
func notA(e *pflag.InvalidValueError) (hint string, err error) {
	switch flag := e.GetFlag(); flag.Value.Type() {
	case "float64":
		return "write it with a point, such as 71.5", fmt.Errorf("--%s: %q is no number", flag.Name, e.GetValue())
	case "int":
		return "write it in digits, such as 20", fmt.Errorf("--%s: %q is no whole number", flag.Name, e.GetValue())
	case "duration":
		return "write it as 30s, 5m or 1h30m", fmt.Errorf("--%s: %q is no length of time", flag.Name, e.GetValue())
	}
	return "", e
}

// subcommands are all commands of nightjar.
func (p *program) subcommands() []*cobra.Command {
	return []*cobra.Command{
		p.startCommand(), p.endCommand(), p.noteCommand(), p.markCommand(), p.ackCommand(), p.feedCommand(), p.outcomeCommand(),
		p.rebaseCommand(), p.ignoreCommand(), p.recipesCommand(), p.planCommand(),
		p.statusCommand(), p.runsCommand(), p.showCommand(), p.exportCommand(), p.jarsCommand(),
		p.startersCommand(), p.replayCommand(), p.checkCommand(), p.calibrateCommand(), p.tareCommand(), p.storeCommand(), p.backupCommand(), p.watchCommand(), p.demoCommand(), p.manCommand(), p.notifyCommand(), p.versionCommand(),
	}
}

// misuse is an error of whoever asked: a wrong flag or argument.
type misuse struct {
	err    error
	remedy string
}

func (m *misuse) Error() string { return m.err.Error() }

// Unwrap returns the cause.
func (m *misuse) Unwrap() error { return m.err }

// Hint says what to do about it.
func (m *misuse) Hint() string { return m.remedy }

func misusef(remedy, format string, args ...any) error {
	return &misuse{err: fmt.Errorf(format, args...), remedy: remedy}
}

// exact wants the named arguments, no more and no fewer.
func exact(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		see := "see " + cmd.CommandPath() + " --help"
		if len(args) < len(names) {
			return misusef(see, "%s is missing", names[len(args)])
		}
		if len(args) > len(names) {
			return misusef(see, "%q is one argument too many", args[len(names)])
		}
		return nil
	}
}

// atMost wants no more arguments than n.
func atMost(n int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) > n {
			return misusef("a name of several words stands in quotes; see "+cmd.CommandPath()+" --help", "%q is one argument too many", args[n])
		}
		return nil
	}
}

// report tells an error and its remedy, and returns the exit code.
func report(w io.Writer, err error) int {
	if err == nil {
		return exitDone
	}
	fmt.Fprintf(w, "nightjar: %v\n", err)
	if hint := remedy(err); hint != "" {
		fmt.Fprintf(w, "  %s\n", hint)
	}
	if _, ok := errors.AsType[*misuse](err); ok {
		return exitMisuse
	}
	return exitFailed
}

// remedy finds what to do about an error, if it says.
func remedy(err error) string {
	if h, ok := errors.AsType[interface {
		error
		Hint() string
	}](err); ok {
		return h.Hint()
	}
	return storeRemedy(err)
}

// config reads the configuration.
func (p *program) config() (config.Config, error) {
	path, required := p.places.config()
	return config.Load(path, required)
}
