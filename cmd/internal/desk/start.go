package desk

import (
	"fmt"
	"math"
	"strings"
	"time"

	"nightjar/rise"
	"nightjar/sensor/view"
)

// thinnest is the lowest base level, mm, that is reckoned with when none is given: below it one millimetre is more
// than six points of rise.
const thinnest = 15

// optics are a chip's, those of the first choice where the chip is not known yet.
func optics(chip string) rise.Optics { return view.Of(chip).Optics }

// prepareStart checks the run to start and fills in what was left out: the kind, the only jar, the target.
func (d *Desk) prepareStart(a *rise.Action) error {
	if a.Start == nil {
		a.Start = &rise.Run{}
	}
	r := *a.Start
	if err := d.free(a); err != nil {
		return err
	}
	if r.Kind == "" {
		r.Kind = rise.RunDough
	}
	if r.Kind != rise.RunDough && r.Kind != rise.RunStarter {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("no run is of kind %q", r.Kind), Remedy: "dough or starter"}
	}
	if err := d.follow(&r); err != nil {
		return err
	}
	jar, err := d.chooseJar(r.Jar, r.JarVersion)
	if err != nil {
		return err
	}
	r.Jar, r.JarVersion = jar.Name, jar.Version
	if r.Target == 0 {
		r.Target = 2
	}
	if !r.SoonMin.IsKnown() && d.Alerts.Soon > 0 {
		r.SoonMin = rise.Known(d.Alerts.Soon.Minutes())
	}
	if err := d.checkRun(r, jar, a); err != nil {
		return err
	}
	r.Station, r.Name = a.Station, strings.TrimSpace(r.Name)
	r.Number, r.Started, r.End, r.EndReason = 0, rise.Moment{}, rise.Moment{}, ""
	a.Start = &r
	return nil
}

// free refuses a start on a station whose open or last run lies over it.
func (d *Desk) free(a *rise.Action) error {
	run, open, err := d.Store.OpenRun(a.Station)
	if err != nil {
		return err
	}
	again := a.Kind == rise.ActionFeed && run.Kind == rise.RunStarter // a feeding ends the one before
	if open && !again {
		return &Error{Kind: Refused, Msg: fmt.Sprintf("%s is open on station %s since %s", title(run), a.Station, local(run.Started.Wall)),
			Remedy: "end it first with nightjar end"}
	}
	if open && a.When.Before(run.Started.Stamp) {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("%s is before %s began", local(a.When.Wall), title(run)), Remedy: "give a later time"}
	}
	runs, err := d.Store.Runs()
	if err != nil {
		return err
	}
	for _, r := range runs {
		if r.Station == a.Station && !r.Open() && a.When.Before(r.End.Stamp) {
			return &Error{Kind: Refused, Msg: fmt.Sprintf("at %s %s was still open", local(a.When.Wall), title(r)),
				Remedy: fmt.Sprintf("it ended at %s; give a later time", local(r.End.Wall))}
		}
	}
	return nil
}

// title names a run: "run 14 (country loaf)".
func title(r rise.Run) string {
	if r.Name == "" {
		return fmt.Sprintf("run %d", r.Number)
	}
	return fmt.Sprintf("run %d (%s)", r.Number, r.Name)
}

// chooseJar finds the named jar, or the only one there is. "name@2" names a version.
func (d *Desk) chooseJar(name string, version int) (rise.Jar, error) {
	if name != "" {
		return d.Jar(atVersion(name, version))
	}
	jars, err := d.Store.Jars()
	switch {
	case err != nil:
		return rise.Jar{}, err
	case len(jars) == 0:
		return rise.Jar{}, noJars()
	case len(jars) > 1:
		return rise.Jar{}, &Error{Kind: Bad, Msg: "there are several jars: which one?", Remedy: "--jar " + jarNames(jars)}
	}
	return jars[0], nil
}

// checkRun checks the numbers of a run to start.
func (d *Desk) checkRun(r rise.Run, jar rise.Jar, a *rise.Action) error {
	if len(r.Name) > 100 {
		return &Error{Kind: Bad, Msg: "the name is longer than 100 bytes", Remedy: "shorten it"}
	}
	for _, n := range []struct {
		q quantity
		v rise.Num
	}{{inoculation, r.InoculationPct}, {hydration, r.HydrationPct}, {salt, r.SaltPct}, {sampleMass, r.SampleG}, {doughMass, r.DoughKg}, {density, r.DensityGML}, {baseLevel, r.BaseMM}, {baseDoubt, r.UBaseMM}, {rulerHeight, r.RulerMM}, {baseDoubt, r.URulerMM}, {floor, r.FloorMM}, {baseDoubt, r.UFloorMM}, {doughTemp, a.DoughC}, {soonLead, r.SoonMin}} {
		derived := a.Kind == rise.ActionFeed && (n.q.what == inoculation.what || n.q.what == hydration.what) // of a checked feeding
		if v, ok := n.v.Get(); ok && !derived {
			if err := n.q.check(v); err != nil {
				return err
			}
		}
	}
	if !r.Plan.IsZero() && !r.Plan.After(a.When.Wall) {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("it cannot be wanted at %s, before it starts", local(r.Plan)), Remedy: "give a later time, with its date"}
	}
	if r.Plan.Sub(a.When.Wall) > r.Kind.Limit() {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("%s is more than %v away", local(r.Plan), r.Kind.Limit().Round(time.Hour)), Remedy: "a run ends by itself before then: start it later"}
	}
	switch {
	case r.BaseBy != "" && r.BaseBy != rise.BaseByMass:
		return &Error{Kind: Bad, Msg: fmt.Sprintf("a base level cannot come from %q", r.BaseBy), Remedy: "mass, or nothing for the settled level"}
	case r.BaseBy == rise.BaseByMass && !r.SampleG.IsKnown():
		return &Error{Kind: Bad, Msg: "a base level by mass needs the sample's mass", Remedy: "weigh the sample and give its grams"}
	case r.Flour != "" && r.Flour != "wheat" && r.Flour != "rye":
		return &Error{Kind: Bad, Msg: fmt.Sprintf("nothing is known of how a dough of %q domes", r.Flour), Remedy: "wheat or rye, or nothing"}
	}
	if err := checkTarget(r.Target); err != nil {
		return err
	}
	s, _ := d.station(a.Station)
	return checkRoom(r, jar, optics(s.Chip))
}

// checkTarget refuses a multiple that is none, and says what may have been meant.
func checkTarget(target float64) error {
	if target > 1.02 && target <= 10 {
		return nil
	}
	e := &Error{Kind: Bad, Msg: fmt.Sprintf("a target of %g cannot be", target), Remedy: "Give the multiple of the settled volume, above 1 and up to 10: 2 is doubled."}
	switch {
	case target > 10 && target <= 400:
		e.Remedy = join(fmt.Sprintf("Did you mean %.3g? %g %% of rise is ×%.3g.", 1+target/100, target, 1+target/100), e.Remedy)
	case target > 0 && target < 1:
		e.Remedy = join(fmt.Sprintf("Did you mean %.3g? A rise of %.3g %% is ×%.3g.", 1+target, target*100, 1+target), e.Remedy)
	}
	return e
}

// checkRoom refuses a target at which the surface would come nearer than the ranger can see.
func checkRoom(r rise.Run, jar rise.Jar, o rise.Optics) error {
	top := jar.Level(o.NearestMM)
	base, given := base(r, jar)
	if given && base >= top {
		return &Error{Kind: Bad, Msg: fmt.Sprintf("a sample %.0f mm high does not fit under the sensor in jar %s", base, jar.Name),
			Remedy: fmt.Sprintf("the surface must stay %.0f mm below the sensor: take less dough", o.NearestMM)}
	}
	most := jar.Room(base, o)
	if r.Target < most {
		return nil
	}
	return &Error{Kind: Refused, Msg: fmt.Sprintf("jar %s cannot show ×%.4g: over a sample %.0f mm high it ends at ×%.2f", jar.Name, r.Target, base, most),
		Remedy: fmt.Sprintf("the surface must stay %.0f mm below the sensor: take less dough, a taller jar or a lower target", o.NearestMM)}
}

// base is the sample's height as given, by its level, a ruler or its mass, or else the thinnest that is reckoned with, mm.
func base(r rise.Run, jar rise.Jar) (mm float64, given bool) {
	for _, n := range []rise.Num{r.BaseMM, r.RulerMM} {
		if v, ok := n.Get(); ok {
			return v, true
		}
	}
	if g, ok := r.SampleG.Get(); ok {
		if v, ok := jar.Profile.Level(g / r.DensityGML.Or(rise.DefaultDensityGML)); ok {
			return v, true
		}
		return math.Inf(1), true
	}
	return thinnest, false
}

// fill says what the sample does in its jar where its height is known: grams, height, room; and what may go wrong, for a
// sample of usual height where it is not.
func (d *Desk) fill(r rise.Run) []string {
	jar, err := d.Store.Jar(r.Jar, r.JarVersion)
	if err != nil {
		return nil
	}
	mm, given := base(r, jar)
	if !given {
		mm = usualBase
	}
	s, _ := d.station(r.Station)
	f, err := jar.FillByLevel(mm, r.DensityGML.Or(rise.DefaultDensityGML), r.Kind, r.Target, optics(s.Chip))
	switch {
	case err != nil && given:
		return []string{"Little room: " + err.Error() + "."}
	case given:
		f.Warnings = append([]string{f.String()}, f.Warnings...)
	}
	var said []string
	for _, w := range f.Warnings {
		said = append(said, "In this jar "+w+".")
	}
	return said
}
