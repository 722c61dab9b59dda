package rise

import (
	"fmt"
	"math"
	"time"
)

// Algorithm is the version of the fold. It grows with every change that may give other estimates for the same readings.
const Algorithm = 1

// Tracker folds one run's readings and actions, in the order of their stamps, into estimates. Each estimate uses only
// what was added before it. A Tracker must not be used from two goroutines at once.
type Tracker struct {
	run     Run
	jar     Jar
	past    []Summary
	volume  volumeCurve
	surface surface
	// uFloor is the standard uncertainty of the floor distance, mm, uScale that of the scale as a share of it.
	uFloor, uScale float64
	footing        footing
	clock          runClock
	gate           gate
	levels         binned
	base           base
	rate           Num // mm/h
	rateU          float64
	temps          temperatures
	main           mainDough
	ignored        []span
	phase          phases
	alerts         conditions
	outlook        outlook
	course         course
	ended          bool
	yields         float64 // run time until which a person's work on the sample explains a step, h
	now            moment
	fresh          news // the readings that the last one let in
	haze           haze
	// event is what was made of the last reading, ask what the baker has not answered yet.
	event, ask string
}

// moment is a reading's place in time.
type moment struct {
	hours float64
	time  time.Time
}

// span is a stretch of wall time set aside by a person.
type span struct{ from, to time.Time }

func (s span) covers(t time.Time) bool {
	return !t.IsZero() && !t.Before(s.from) && (s.to.IsZero() || t.Before(s.to))
}

// NewTracker starts a run's fold. It uses the case's Run, Jar and Past. A jar that cannot be or a target that cannot be
// reached is an error that says what to do.
func NewTracker(c Case) (*Tracker, error) {
	if err := c.Jar.Check(); err != nil {
		return nil, fmt.Errorf("jar %s: %w", c.Jar.Name, err)
	}
	if err := checkRun(c.Run); err != nil {
		return nil, err
	}
	t := &Tracker{run: c.Run, jar: c.Jar, past: c.Past, volume: c.Jar.Profile.compile(), clock: newRunClock(c.Run.Started)}
	t.main.tau = doughTau(c.Run.DoughKg)
	t.place()
	return t, t.findFooting()
}

// Add takes the next reading and returns what is known with it. A reading that cannot be used changes nothing but the
// time; the estimate says why it was set aside.
func (t *Tracker) Add(r Reading) Estimate {
	t.event = ""
	hours, ok := t.clock.advance(r)
	if !ok {
		return t.estimate(r, Num{}, asideBackwards)
	}
	if t.clock.leapt {
		t.gate.unsure()
		t.alerts.gap.lost(hours)
	}
	t.now = moment{hours, r.Time}
	t.temps.add(hours, r)
	level, reason := t.admit(r, hours)
	t.main.add(hours, r, &t.temps)
	t.decide()
	return t.estimate(r, level, reason)
}

// admit puts a reading's level through the gate, and on into everything that is kept of it.
func (t *Tracker) admit(r Reading, hours float64) (level Num, reason string) {
	t.fresh = news{now: hours}
	raw, reason := t.level(r)
	if reason == "" {
		reason = t.foggy(r, hours)
	}
	if reason != "" {
		t.gate.miss(reason)
		return Num{}, reason
	}
	white, rounding := t.gate.noise.of(r, raw)
	s := sighting{hours: hours, level: raw, white: white, rounding: rounding, spread: r.SpreadMM.IsKnown() && r.Valid > 0}
	v := t.gate.admit(s, context{settled: t.base.known, base: t.base.level, mayFall: t.phase.mayFall(), yielding: hours < t.yields, unveiled: t.haze.unveiled(), trend: t.levels.trendAt})
	if v.restarted {
		t.levels.cut(math.Inf(-1))
		t.main.cut(0)
	}
	if v.ask != "" {
		t.ask = v.ask
	}
	if v.reason != "" {
		return Num{}, v.reason
	}
	t.fresh.n, t.fresh.first = len(v.in), v.in[0].hours
	t.event = v.event
	for _, s := range v.in {
		t.keep(s)
	}
	t.haze.keep()
	return Known(raw + t.gate.carry), ""
}

// foggy says so if the reading was seen through fog. When that is first noticed, what came in since the last clear view
// is taken back: the level is held, and never rises by fog.
func (t *Tracker) foggy(r Reading, hours float64) (reason string) {
	fogged, began := t.haze.see(hours, r)
	if began {
		if at, ok := t.gate.back(t.haze.before.hours); ok {
			t.levels.cut(at)
			t.main.cut(len(t.levels.bins))
			t.event = AsideFog + ": the level is held"
		}
	}
	if fogged {
		return AsideFog
	}
	return ""
}

// keep stores a level that was let in, and looks for the base level and the rate.
func (t *Tracker) keep(s sighting) {
	begun := t.levels.add(s.hours, s.level+t.gate.carry, t.gate.variance(s))
	b := &t.levels.bins[len(t.levels.bins)-1]
	b.rounding, b.temp = s.rounding, t.temps.now
	t.main.trace(t.temps.thermal, b.mean(), begun)
	if begun {
		t.gate.keepSnap()
		t.base.reopen(t.gate.smooth, t.phase.top)
		t.base.search(&t.levels)
	}
	t.measureRate()
}

// level is a reading's raw level, or why there is none.
func (t *Tracker) level(r Reading) (float64, string) {
	if t.ended {
		return 0, asideEnded
	}
	for _, s := range t.ignored {
		if s.covers(r.Time) {
			return 0, asideIgnored
		}
	}
	level, ok := r.LevelMM.Get()
	if dist, ranged := r.RangeMM.Get(); ranged && !t.jar.isLevelsOnly() {
		level, ok = t.jar.Level(dist), true
	} else if ranged && !ok {
		return 0, asideNoJar
	}
	switch {
	case r.Fault != FaultNone:
		return 0, asideNoRange + ": " + string(r.Fault)
	case !ok:
		return 0, asideNoRange
	case level < -3*math.Max(t.uFloor, 1):
		return 0, asideBelow
	}
	return level, ""
}

// rateHours is the stretch over which the rate is measured, h. It doubles up to rateMost where the readings are so rough
// or so sparse that the rate would be doubtful by more than rateDoubt, a share of the level an hour.
const (
	rateHours = 20.0 / 60
	rateMost  = 80.0 / 60
	rateDoubt = 0.03
)

// measureRate fits a straight line to the last stretch of levels.
func (t *Tracker) measureRate() {
	now := t.levels.bins[len(t.levels.bins)-1].at()
	t.rate = Num{}
	for hours := rateHours; hours <= rateMost; hours *= 2 {
		bins := t.levels.since(now - hours)
		slope, variance, ok := lineOver(bins)
		if !ok {
			continue
		}
		t.rate, t.rateU = Known(slope), math.Sqrt(variance)
		if len(bins) >= 4 && t.rateU <= rateDoubt*scaleOf(t.gate.smooth.x) {
			return
		}
	}
}

// estimate puts together what is known now.
func (t *Tracker) estimate(r Reading, level Num, reason string) Estimate {
	e := Estimate{
		Stamp: r.Stamp, Time: r.Time, LevelMM: level, SetAside: reason,
		Phase: t.phase.name(), Forecast: t.outlook.forecast.from(r.Time, t.phase.name()), Holds: t.alerts.holds(), Event: t.event, Ask: t.ask,
	}
	if !t.base.known {
		return e
	}
	p := t.point()
	in := t.levelsAt(t.gate.smooth.x)
	e.BaseMM, e.UBaseMM = Known(in.base), Known(t.uBase(in))
	if v, ok := level.Get(); ok {
		e.LevelMM = Known(v + in.base - t.base.level)
	}
	e.Multiple, e.MultipleU = Known(p.multiple), Known(p.u)
	e.DoughMultiple, e.DoughForecast, e.DoughProbeOut = t.doughMultiple(), t.outlook.dough, t.main.probe.out
	if rate, _, ok := t.ratePct(); ok {
		e.RatePctH = Known(rate)
	}
	return e
}

// ratePct is the rate with its standard uncertainty, % of the base volume per hour.
func (t *Tracker) ratePct() (rate, u float64, ok bool) {
	v, ok := t.rate.Get()
	if !ok || !t.base.known {
		return 0, 0, false
	}
	_, perMM := t.volume(t.gate.smooth.x)
	base, _ := t.volume(t.base.level)
	perMM *= 1 / (1 + t.surface.dome)
	return 100 * v * perMM / base, 100 * t.rateU * perMM / base, true
}

// doughMultiple is the main dough's own multiple.
func (t *Tracker) doughMultiple() Num {
	pace := t.temps.pace(t.temps.now.Or(referenceC))
	perThermal := 0.0
	if pace > 0 {
		perThermal = max(0, t.rate.Or(0)) / pace
	}
	level, ok := t.main.level(perThermal).Get()
	if !ok {
		return Num{}
	}
	return Known(t.multipleAt(max(level, t.base.level)))
}
