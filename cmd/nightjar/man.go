package main

import (
	"fmt"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manCommand writes the manual pages; packages are built with it.
func (p *program) manCommand() *cobra.Command {
	return &cobra.Command{
		Use:    "man DIR",
		Short:  "Write the manual pages into a folder",
		Long:   "Writes a manual page for nightjar and for each of its commands into a folder that exists. Their date is $SOURCE_DATE_EPOCH, if that is set.",
		Hidden: true,
		Args:   exact("DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			date := time.Now()
			if epoch := p.getenv("SOURCE_DATE_EPOCH"); epoch != "" {
				s, err := strconv.ParseInt(epoch, 10, 64)
				if err != nil {
					return misusef("seconds since 1970, as reproducible builds have it", "SOURCE_DATE_EPOCH=%q is no number", epoch)
				}
				date = time.Unix(s, 0).UTC()
			}
			if info, err := os.Stat(args[0]); err != nil {
				return err
			} else if !info.IsDir() {
				return misusef("name a folder that exists", "%s is no folder", args[0])
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true
			header := &doc.GenManHeader{Title: "NIGHTJAR", Section: "1", Date: &date, Source: "nightjar " + version(), Manual: "nightjar"}
			if err := doc.GenManTree(root, header, args[0]); err != nil {
				return fmt.Errorf("write manual pages: %w", err)
			}
			return nil
		},
	}
}
