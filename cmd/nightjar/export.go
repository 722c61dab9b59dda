package main

import (
	"io"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/client"
)

func (p *program) exportCommand() *cobra.Command {
	var format, output string
	cmd := &cobra.Command{
		Use:   "export RUN",
		Short: "Write a run as a file: CSV or JSON",
		Long: `Writes a run's raw readings and all that was derived from them, as CSV (RFC 4180, one header row) or JSON. nightjar
replay reads both again and gives the same numbers.`,
		Example: "  nightjar export 14 > loaf.csv\n  nightjar export 14 --format json --output loaf.json",
		Args:    exact("the run's number"),
		RunE: func(cmd *cobra.Command, args []string) error {
			n, err := runNumber(args[0])
			if err != nil {
				return err
			}
			if format != "csv" && format != "json" {
				return misusef("csv or json", "--format: there is no format %q", format)
			}
			write := func(w io.Writer) error {
				return p.api(cmd.Context(), reads, func(c *client.Client) error {
					return c.Copy(cmd.Context(), w, api.PathExport, n, "?format="+format)
				})
			}
			if output == "" || output == "-" {
				return write(p.stdout)
			}
			return save(output, write)
		},
	}
	cmd.Flags().StringVar(&format, "format", "csv", "csv or json")
	cmd.Flags().StringVarP(&output, "output", "o", "", "the file to write (default standard output)")
	return cmd
}
