package calibrate

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// API is what the dialog asks of the desk.
type API interface {
	Burst(ctx context.Context, station string) (rise.Burst, error)
	Fit(ctx context.Context, c api.Calibration) (api.Calibrated, error)
	AddJar(ctx context.Context, j rise.Jar) (rise.Jar, error)
}

// Dialog leads through a calibration.
type Dialog struct {
	API API
	In  io.Reader
	Out io.Writer
	// Live shows progress by rewriting a line: for a terminal.
	Live bool
	// Station is whose sensor measures; Jar has the name, the profile and a note.
	Station string
	Jar     rise.Jar
	// CardMM is the card's thickness, mm. BaseMM and Target are a usual sample's.
	CardMM, BaseMM, Target float64
	// Warm is how long the sensor runs before anything counts; Least how long each target is looked at, at least.
	Warm, Least time.Duration
	Now         func() time.Time

	lines *bufio.Scanner
}

// Standard uncertainties of what a person measures, mm.
const (
	// uRuler is that of a height read on a ruler with millimetres: half a division either way, 1/√12.
	uRuler = 0.29
	// uCard is that of the thickness of a card on the floor.
	uCard = 0.1
	// wantMM is that of a range, to be reached by averaging.
	wantMM = 0.1
)

// errBroken is told when the person ends the input.
var errBroken = errors.New("calibration broken off; nothing was changed")

// Run leads through the calibration and stores the jar. Until then nothing is changed.
func (d *Dialog) Run(ctx context.Context) error {
	d.lines = bufio.NewScanner(d.In)
	c := api.Calibration{Jar: d.Jar, Station: d.Station, BaseMM: d.BaseMM, Target: d.Target}
	for _, step := range []func(context.Context, *api.Calibration) error{d.warm, d.floor, d.stacks, d.mountings} {
		if err := step(ctx, &c); err != nil {
			return err
		}
	}
	return d.finish(ctx, c)
}

func (d *Dialog) say(format string, args ...any) { fmt.Fprintf(d.Out, format+"\n", args...) }

// ask asks for a line. The end of the input or of ctx breaks the calibration off. A read of a terminal cannot be
// interrupted: after ctx ended its goroutine stays until the next line or the end of the process.
func (d *Dialog) ask(ctx context.Context, format string, args ...any) (string, error) {
	fmt.Fprintf(d.Out, format+" ", args...)
	answered := make(chan bool, 1)
	go func() { answered <- d.lines.Scan() }()
	select {
	case ok := <-answered:
		if ok && ctx.Err() == nil {
			return strings.TrimSpace(d.lines.Text()), nil
		}
	case <-ctx.Done():
	}
	fmt.Fprintln(d.Out)
	return "", errBroken
}

// warm lets the sensor run until its own heat no longer moves the range.
func (d *Dialog) warm(ctx context.Context, _ *api.Calibration) error {
	if d.Warm <= 0 {
		return nil
	}
	d.say("The sensor warms up for %v. Meanwhile: the jar empty and dry, a matte white card that keeps clear of the\nwalls, a ruler, two stacks for the card near %.0f and %.0f mm.", d.Warm, d.base(), d.base()*d.target())
	for begun := d.Now(); d.Now().Sub(begun) < d.Warm; {
		if _, err := d.API.Burst(ctx, d.Station); err != nil {
			return err
		}
		d.progress("warming up: %v left", (d.Warm - d.Now().Sub(begun)).Round(time.Second))
	}
	d.endProgress()
	return nil
}

func (d *Dialog) base() float64   { return orElse(d.BaseMM, 30) }
func (d *Dialog) target() float64 { return orElse(d.Target, 2) }

func orElse(v, d float64) float64 {
	if v == 0 {
		return d
	}
	return v
}

// floor ranges the card on the floor.
func (d *Dialog) floor(ctx context.Context, c *api.Calibration) error {
	if _, err := d.ask(ctx, "\nLay the card on the floor of the jar, close the lid as at night, press Enter."); err != nil {
		return err
	}
	return d.height(ctx, c, d.CardMM, uCard)
}

// stacks ranges the card on stacks, until two are measured and the person has no more.
func (d *Dialog) stacks(ctx context.Context, c *api.Calibration) error {
	for n := 1; ; n++ {
		near, more := d.base(), ""
		if n > 1 {
			near = d.base() * d.target()
		}
		if n > 2 {
			more = ", or just Enter to go on"
		}
		word, err := d.ask(ctx, "\nPut the card on a stack near %.0f mm. Its height above the floor by ruler, mm%s:", near, more)
		if err != nil {
			return err
		}
		if word == "" && n > 2 {
			return nil
		}
		level, err := strconv.ParseFloat(strings.Replace(word, ",", ".", 1), 64)
		if err != nil || !(level > 0 && level <= 1000) { // NaN is none either
			d.say("%q is no height: write it in millimetres, such as 30.5", word)
			n--
			continue
		}
		if err := d.height(ctx, c, level, uRuler); err != nil {
			return err
		}
		if problem := d.conflict(ctx, *c); problem != "" {
			d.say("%s\nThat height is left out.", problem)
			c.Heights = c.Heights[:len(c.Heights)-1]
			n--
		}
	}
}

// conflict says what is wrong with the heights so far.
func (d *Dialog) conflict(ctx context.Context, c api.Calibration) string {
	if len(c.Heights) < 2 {
		return ""
	}
	if _, err := d.API.Fit(ctx, c); err != nil {
		return err.Error()
	}
	return ""
}

// height looks at the card and keeps the height. A target that is not steady is looked at again.
func (d *Dialog) height(ctx context.Context, c *api.Calibration, level, u float64) error {
	a, err := d.look(ctx)
	if err != nil {
		return err
	}
	d.say("  %.1f mm high is seen at %.2f ± %.2f mm", level, a.RangeMM, 2*a.UMM)
	c.Heights = append(c.Heights, rise.Height{LevelMM: level, ULevelMM: u, RangeMM: a.RangeMM, URangeMM: a.UMM})
	return nil
}

// look averages until the range is known, again and again where the target was not steady and the person wants to.
func (d *Dialog) look(ctx context.Context) (rise.Averaged, error) {
	e := Eye{
		Burst: func(ctx context.Context) (rise.Burst, error) { return d.API.Burst(ctx, d.Station) }, WantMM: wantMM, Least: d.Least, Now: d.Now,
		Say: func(a rise.Averaged) {
			d.progress("  %.2f ± %.2f mm after %d bursts%s", a.RangeMM, 2*a.UMM, a.Bursts, problem(a.Problem))
		},
	}
	for {
		a, err := e.Look(ctx)
		d.endProgress()
		if err == nil {
			return a, nil
		}
		if _, ok := errors.AsType[*unsteadyError](err); !ok {
			return a, err
		}
		if _, err := d.ask(ctx, "Cannot use that: %v.\nMend it and press Enter to look again.", err); err != nil {
			return a, err
		}
	}
}

func problem(s string) string {
	if s == "" {
		return ""
	}
	return ": " + s
}

// mountings finds how well the sensor comes back to its place.
func (d *Dialog) mountings(ctx context.Context, c *api.Calibration) error {
	last := c.Heights[len(c.Heights)-1]
	c.MountingMM, c.UMountingMM = []float64{last.RangeMM}, last.URangeMM
	d.say("\nNow the mounting: leave card and stack as they are.")
	for n := 1; n <= 3; n++ {
		if _, err := d.ask(ctx, "Lift the lid off and put it back as at night (%d of 3), press Enter.", n); err != nil {
			return err
		}
		a, err := d.look(ctx)
		if err != nil {
			return err
		}
		d.say("  %.2f ± %.2f mm", a.RangeMM, 2*a.UMM)
		c.MountingMM = append(c.MountingMM, a.RangeMM)
		c.UMountingMM = max(c.UMountingMM, a.UMM)
	}
	return nil
}

// finish says what the jar can do and stores it, if the person wants it.
func (d *Dialog) finish(ctx context.Context, c api.Calibration) error {
	done, err := d.API.Fit(ctx, c)
	if err != nil {
		return err
	}
	j := done.Jar
	d.say("\nfloor       %.1f ± %.1f mm", j.FloorMM, 2*j.UFloorMM)
	d.say("scale       %.3f ± %.3f", orElse(j.Scale, 1), 2*j.UScale)
	d.say("mounting    ± %.1f mm each time the lid is put back", 2*j.URepeatMM)
	d.say("fit         %s; the worst height is off by %.2f mm", done.Fit, done.WorstMM)
	d.say("this jar    %s", done.Ability)
	for _, w := range done.Warnings {
		d.say("mind        %s", w)
	}
	word, err := d.ask(ctx, "\nKeep it as jar %s? [Y/n]", j.Name)
	if err != nil {
		return err
	}
	if strings.HasPrefix(strings.ToLower(word), "n") {
		return errBroken
	}
	stored, err := d.API.AddJar(ctx, j)
	if err != nil {
		return err
	}
	d.say("jar %s@%d is ready: nightjar start --jar %s", stored.Name, stored.Version, stored.Name)
	return nil
}

// progress rewrites the line of a terminal.
func (d *Dialog) progress(format string, args ...any) {
	if d.Live {
		fmt.Fprintf(d.Out, "\r\x1b[K"+format, args...)
	}
}

func (d *Dialog) endProgress() {
	if d.Live {
		fmt.Fprint(d.Out, "\r\x1b[K")
	}
}
