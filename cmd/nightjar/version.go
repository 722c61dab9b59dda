package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
)

// release is the version given by whoever built the program, with -ldflags "-X main.release=…".
var release string

// version is the program's version: the release, or else what the go command knows of the source.
func version() string {
	if release != "" {
		return release
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "unknown"
}

func (p *program) versionCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:   "version",
		Short: "Show the version of this program and of the running service",
		Long: `Shows the version of this program and, if the service is running, of the service. They differ after an
upgrade until the service is restarted.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			out := struct {
				Program string       `json:"program"`
				Service *api.Version `json:"service"`
			}{Program: version(), Service: p.service(cmd)}
			return p.print(f, out, func() {
				fmt.Fprintf(p.stdout, "nightjar %s\n", out.Program)
				if out.Service == nil {
					fmt.Fprintln(p.stdout, "the service is not running")
					return
				}
				fmt.Fprintf(p.stdout, "service  %s on device %s\n", out.Service.Version, out.Service.Device)
			})
		},
	}
	f.flag(cmd)
	return cmd
}

// service asks the running service for its version; nil if none answers.
func (p *program) service(cmd *cobra.Command) *api.Version {
	var v api.Version
	if err := p.call(cmd.Context(), reads, api.PathVersion, nil, &v); err != nil || !v.Live {
		return nil
	}
	return &v
}
