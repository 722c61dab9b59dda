package replay

import (
	"context"
	"errors"
	"io"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
	"nightjar/store/recording"
)

// Options say what to replay and how.
type Options struct {
	// Files are the recordings, replayed one after the other.
	Files []string
	// Jar turns ranges into levels; its zero value takes the jar that the recording brings, or else its levels.
	Jar rise.Jar
	// Target replaces that of the recording; 0 is the recording's own, or 2.
	Target float64
	// Past are recordings of earlier runs of the same starter, to learn from.
	Past []string
	// Every is the shortest time between two lines; 0 prints one for each reading. Alerts always get a line.
	Every time.Duration
	// JSON prints a JSON object a line instead of text.
	JSON bool
}

// Run replays the recordings onto w.
func Run(ctx context.Context, w io.Writer, o Options) error {
	past, err := learn(o)
	if err != nil {
		return err
	}
	for _, file := range o.Files {
		c, err := read(file, o)
		if err != nil {
			return err
		}
		c.Past = past
		if err := run(ctx, w, file, c, o); err != nil {
			return err
		}
	}
	return nil
}

// read reads a recording and completes its run: a recording of readings alone is a dough from its first reading on.
func read(file string, o Options) (rise.Case, error) {
	c, err := recording.ReadFile(file, recording.Options{Levels: jarless(o.Jar)})
	if err != nil {
		return c, err
	}
	if !jarless(o.Jar) {
		c.Jar = o.Jar
	}
	if o.Target != 0 {
		c.Run.Target = o.Target
	}
	if c.Run.Target == 0 {
		c.Run.Target = 2
	}
	if c.Run.Kind == "" {
		c.Run.Kind = rise.RunDough
	}
	if len(c.Readings) > 0 && c.Run.Started.IsZero() {
		c.Run.Started = rise.Moment{Stamp: c.Readings[0].Stamp, Wall: c.Readings[0].Time}
	}
	return c, check(file, c)
}

// run replays one recording.
func run(ctx context.Context, w io.Writer, file string, c rise.Case, o Options) error {
	var out printer = &text{w: w, every: o.Every}
	if o.JSON {
		out = &lines{w: w}
	}
	if err := out.begin(file, c); err != nil {
		return err
	}
	var sum summing
	sum.begin(file, c)
	told := bell{}
	var due rise.Stamp
	for r, e := range rise.Fold(c) {
		sum.add(e)
		alerts := told.news(e)
		if len(alerts) == 0 && e.Stamp.Before(due) && e.Boot == due.Boot {
			continue
		}
		if len(alerts) == 0 || !e.Stamp.Before(due) {
			due = rise.Stamp{Boot: e.Boot, At: e.At + o.Every}
		}
		if err := errors.Join(ctx.Err(), out.line(Line{Point: api.NewPoint(e), Alerts: alerts}, r)); err != nil {
			return err
		}
	}
	return out.end(sum.summary())
}
