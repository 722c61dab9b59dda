package rise

import "time"

// runKinds are the kinds of alert that a run decides, in the order in which Holds lists them.
var runKinds = [...]AlertKind{AlertSoon, AlertReady, AlertPast, AlertFalling, AlertSlow, AlertCold, AlertWarm}

const (
	soonIs = iota
	readyIs
	pastIs
	fallingIs
	slowIs
	coldIs
	warmIs
)

// conditions decides which alerts' conditions hold. Each turns on after it has been asked for in several readings in a
// row and turns off with hysteresis, so that one reading, or a level that trembles about a limit, rings nothing.
type conditions struct {
	latches [len(runKinds)]latch
	held    []Condition // shared by the estimates until it changes
	chilled bool
	gap     unseen
}

// unseen is the last long time in which nothing was let in, from one reading to another.
type unseen struct {
	last, from, to moment
	// until is the run time until which it explains a change, h.
	until float64
}

// The limits of the conditions.
const (
	// readyRelease is how far the multiple must fall back for a new episode, at least, as a multiple.
	readyRelease = 0.08
	// readyShort is the multiple, as a share of the target, above which the sample must be for certain.
	readyShort = 0.95
	// pastShare is the share of the rise at which the sample is past its target. Common practice, no source.
	pastShare = 1.15
	// lateHours is how much later than planned is slow, h; hopeless the chance below which the target is not expected.
	lateHours = 0.5
	hopeless  = 0.2
	// Below coldC yeasts grow at a quarter of their best rate (Gänzle's summary, rec.food.sourdough FAQ 39: 14 °C); above
	// warmC the commonest sourdough yeast comes near its limit of 35 °C (Brandt, Hammes, Gänzle 2004). °C.
	coldC, warmC = 14.0, 33.0
	// outageHours is a gap that is told about, h.
	outageHours = 10.0 / 60
)

// holds lists the conditions that hold. The slice is shared: nobody changes it.
func (c *conditions) holds() []Condition { return c.held }

// decide brings the phase, the forecast and the conditions up to the reading that was just added.
func (t *Tracker) decide() {
	if t.ended {
		return
	}
	p := t.point()
	if t.fresh.n > 0 && p.known {
		t.course.add(t.now.hours, p.multiple, t.run.Target, t.releaseAt(p), t.alerts.latches[readyIs].on)
	}
	t.watchGap()
	changed := t.decideReady(p)
	if t.fresh.n > 0 {
		t.advancePhase(p)
	}
	if t.outlook.due(t.now.hours) {
		t.look()
		changed = t.decideSlow() || changed
	}
	changed = t.decideSoon() || changed
	changed = t.decidePast(p) || changed
	changed = t.decideFalling(p) || changed
	changed = t.decideTemperature() || changed
	if changed {
		t.alerts.rebuild()
	}
}

// rebuild lists anew what holds.
func (c *conditions) rebuild() {
	c.held = nil
	for i := range c.latches {
		if c.latches[i].on {
			c.held = append(c.held, c.latches[i].cond)
		}
	}
}

// turn steps a latch; where that turned it on it is told with the words.
func (t *Tracker) turn(kind int, ask, release bool, by news, need proof, words func() string) (changed bool) {
	l := &t.alerts.latches[kind]
	before := l.on
	if l.step(ask, release, by, need) {
		episode := l.cond.Episode
		l.cond = Condition{Kind: runKinds[kind], Episode: episode, Since: t.now.time, Text: words()}
	}
	return l.on != before
}

// watchGap notes when readings come in again after a long time.
func (t *Tracker) watchGap() {
	if t.fresh.n == 0 {
		return
	}
	g := &t.alerts.gap
	gap := t.fresh.first - g.last.hours
	if g.last != (moment{}) && gap > outageHours && gap > 3*t.gate.spacing {
		first := t.now.time.Add(time.Duration((t.fresh.first - t.now.hours) * float64(time.Hour)))
		g.from, g.to, g.until = g.last, moment{t.fresh.first, first}, t.now.hours+outageHours
	}
	g.last = t.now
}

// lost notes that readings come in again after a time of which nobody knows how long it was.
func (u *unseen) lost(now float64) {
	u.from, u.to, u.until = moment{hours: now}, moment{hours: now}, now+outageHours
}

// explains reports whether what shows now may have come about in the gap.
func (u unseen) explains(now float64) bool { return u.until > 0 && now <= u.until }
