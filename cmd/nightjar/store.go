package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/client"
	"nightjar/store"
)

func (p *program) storeCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "store",
		Short: "Check and mend the store's file",
		Args:  exact(),
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(p.storeCheckCommand())
	return cmd
}

func (p *program) storeCheckCommand() *cobra.Command {
	var f format
	var repair bool
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Read every record of the store, and mend it if asked",
		Long: `Reads the whole store and lists what cannot be read as it was written. Stop the service first: it writes the file.

With --repair the damaged file is moved aside, and a new one is made with every record that is readable. Nothing
of the old file is deleted.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := p.config()
			if err != nil {
				return err
			}
			if err := p.stopped(cmd, p.places.socket(cfg)); err != nil {
				return err
			}
			if repair {
				return p.repair(f, p.places.store(cfg))
			}
			return p.checkStore(f, p.places.store(cfg))
		},
	}
	f.flag(cmd)
	cmd.Flags().BoolVar(&repair, "repair", false, "move a damaged file aside and copy what is readable")
	return cmd
}

// stopped refuses to touch a file that the service is writing.
func (p *program) stopped(cmd *cobra.Command, socket string) error {
	c, err := client.Open(cmd.Context(), client.Options{Socket: socket})
	if err != nil {
		return nil // nobody answers
	}
	defer c.Close()
	return &hinted{errors.New("the service is running and writes the store"), "sudo systemctl stop nightjar, check, then start it again"}
}

func (p *program) checkStore(f format, path string) error {
	r, err := store.Check(path)
	if err != nil {
		return err
	}
	err = p.print(f, r, func() {
		fmt.Fprintf(p.stdout, "%s: %.1f MB, schema %d, %d readings\n", path, float64(r.Bytes)/(1<<20), r.Schema, r.Readings)
		for _, name := range slices.Sorted(maps.Keys(r.Records)) {
			fmt.Fprintf(p.stdout, "  %6d %s\n", r.Records[name], name)
		}
		for _, d := range r.Damage {
			fmt.Fprintf(p.stdout, "  damaged: %s: %s\n", d.Where, d.What)
		}
	})
	if err == nil && len(r.Damage) > 0 {
		places := fmt.Sprintf("%d places", len(r.Damage))
		if len(r.Damage) == 1 {
			places = "one place"
		}
		return &hinted{errors.New("the store is damaged in " + places), "nightjar store check --repair moves it aside and copies what is readable"}
	}
	return err
}

func (p *program) repair(f format, path string) error {
	r, err := store.Repair(path)
	if err != nil {
		return err
	}
	return p.print(f, r, func() {
		fmt.Fprintf(p.stdout, "%d records copied into a new %s\nthe old file is %s\n", r.Copied, path, r.MovedTo)
		for _, d := range r.Damage {
			fmt.Fprintf(p.stdout, "  could not be read: %s: %s\n", d.Where, d.What)
		}
	})
}

func (p *program) backupCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the store while it is in use",
		Long: `Writes a consistent copy of the store to FILE, whether the service runs or not, and replaces what stood there only
once the copy is whole. To go back to it: stop the service, put the copy in the store's place, start it again.`,
		Example: "  nightjar backup /media/stick/nightjar.db",
		Args:    exact("the file to write"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return save(args[0], func(w io.Writer) error {
				return p.api(cmd.Context(), reads, func(c *client.Client) error { return c.Copy(cmd.Context(), w, api.PathBackup) })
			})
		},
	}
}
