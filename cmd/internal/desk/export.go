package desk

import (
	"context"
	"errors"
	"fmt"
	"io"

	"nightjar/rise"
	"nightjar/store/recording"
)

// ExportType is the media type of an export format. An empty format is csv.
func ExportType(format string) (string, error) {
	switch format {
	case "", "csv":
		return "text/csv; charset=utf-8; header=present", nil // RFC 4180, section 3
	case "json":
		return "application/json", nil
	}
	return "", &Error{Kind: Bad, Msg: fmt.Sprintf("no export is called %q", format), Remedy: "csv or json"}
}

// Export writes a run as a recording, raw columns and what was derived from them.
func (d *Desk) Export(ctx context.Context, w io.Writer, n int, format string) error {
	if _, err := ExportType(format); err != nil {
		return err
	}
	c, err := d.gather(n)
	if err != nil {
		return err
	}
	if format == "json" {
		return recording.WriteJSON(w, c)
	}
	out := recording.NewWriter(w, true)
	out.Actions(c.Actions)
	for r, e := range rise.Fold(c) {
		if err := errors.Join(ctx.Err(), out.Write(r, e)); err != nil {
			return err
		}
	}
	return out.Flush()
}
