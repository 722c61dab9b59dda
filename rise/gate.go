package rise

import (
	"fmt"
	"math"
)

// AsideFog is why a reading was set aside while fog lies on the sensor's window: the level is held until it clears.
const AsideFog = "fog on the sensor's window"

// Why a reading was set aside, in the words that people are shown.
const (
	asideBackwards = "time runs back"
	asideNoRange   = "no usable range"
	asideNoJar     = "a range without a jar"
	asideBelow     = "below the jar's floor"
	asideIgnored   = "ignored by hand"
	asideAlone     = "unlike the readings before it"
	asideMoved     = "moved: waiting to see whether it stays"
	asideCovered   = "something stands in the way"
	asideEnded     = "after the end"
)

// sighting is one usable level on its way to the smoother.
type sighting struct {
	hours, level float64
	// white and rounding are the variances that noise tells apart, mm².
	white, rounding float64
	spread          bool
}

// gate lets readings into the smoother. One that does not fit waits; several in a row that agree with one another are
// taken for what they are: the sample after a gap, a sample or jar that was shifted (the curve is carried on with a new
// offset), or a true fall.
type gate struct {
	smooth smoother
	noise  noise
	// carry is what is added to a level so that the curve goes on over shifts, with its variance.
	carry, carryVar float64
	rounding        float64
	waiting         []sighting
	lastIn          float64 // hours of the last reading let in
	spacing         float64 // usual time between readings, h
	lastSeen        float64
	seen            int
	// absent counts the readings since the last one let in at which the sample was not there at all.
	absent int
	// unveiled tells that a fog went while the waiting levels came in.
	unveiled bool
	snaps    []snap
}

// snap is how the curve stood, to go back to.
type snap struct {
	hours                   float64
	smooth                  smoother
	carry, carryVar, lastIn float64
}

// The gate's limits. A level further than gateSigmas standard deviations and gateMM from its prediction waits.
const (
	gateSigmas = 4.0
	gateMM     = 1.0
	// A shift upwards is believed after shiftHours, one downwards after dropHours: a burst bubble heals, dough cannot
	// jump. Beyond farMM it takes farHours and the slope of a rising sample: a lid or a hand stands still.
	shiftHours = 2.0 / 60
	dropHours  = 10.0 / 60
	farMM      = 15.0
	farHours   = 20.0 / 60
	// A drop of up to bubbleMM may be a bubble that has burst or a shift: half of it is carried on over, and the other half
	// doubted. A jar that comes back lower by more than backMM may hold another dough.
	bubbleMM = 2.5
	backMM   = 4.0
	// unseenHours is how long a sample must be out of sight to have peaked meanwhile.
	unseenHours = 1.0
	// After a gap of gapHours one reading is not enough.
	gapHours = 6.0 / 60
	// enough is how many readings must agree.
	enough = 5
)

// verdict is what became of a reading: let in (with those that had waited for it), or why not.
type verdict struct {
	in     []sighting
	reason string
	// restarted tells that everything before counts for nothing: there was no settled sample yet.
	restarted bool
	// event says what the readings were taken for, ask what the baker should be asked.
	event, ask string
}

// context is what the gate must know of the sample to tell a shift from a fall.
type context struct {
	// settled tells that there is a base level, mayFall that the sample has risen and slowed down, yielding that a person
	// has just worked on it, unveiled that a fog has gone.
	settled, mayFall, yielding, unveiled bool
	// base is the base level, mm.
	base float64
	// trend tells a bubble's burst from a shift.
	trend func(hours float64) trend
}

// admit decides on a level.
func (g *gate) admit(s sighting, c context) verdict {
	g.pace(s.hours)
	if !g.smooth.begun {
		return g.begin(s)
	}
	if g.fits(s) && !g.afterGap(s.hours) {
		g.waiting = g.waiting[:0]
		return g.letIn(s)
	}
	g.wait(s)
	g.unveiled = g.unveiled || c.unveiled
	if !g.agreed(c) {
		return verdict{reason: g.waitReason(s), ask: g.covered()}
	}
	return g.resolve(c)
}

// pace learns the usual spacing of the readings.
func (g *gate) pace(hours float64) {
	if g.seen > 0 {
		dt := hours - g.lastSeen
		if g.seen == 1 {
			g.spacing = dt
		}
		g.spacing += (min(dt, 4*g.spacing) - g.spacing) / 8
	}
	g.seen++
	g.lastSeen = hours
}

func (g *gate) begin(s sighting) verdict {
	g.smooth.begin(s.hours, s.level+g.carry, g.variance(s))
	g.lastIn, g.rounding = s.hours, s.rounding
	return verdict{in: []sighting{s}}
}

// variance is a level's own variance as far as learned, mm².
func (g *gate) variance(s sighting) float64 {
	return s.white*g.noise.factor(s.spread) + s.rounding
}

// fits reports whether a level is near its prediction. The prediction's doubt is that of the moment at which levels began
// to wait: else they would come to fit by waiting.
func (g *gate) fits(s sighting) bool {
	d := math.Abs(s.level + g.carry - g.smooth.predicted(s.hours).x)
	since := s.hours
	if len(g.waiting) > 0 {
		since = g.waiting[0].hours
	}
	return d <= max(gateMM, gateSigmas*math.Sqrt(g.smooth.predicted(since).pxx+g.variance(s)))
}

// afterGap reports whether so long nothing came in that a single reading proves nothing.
func (g *gate) afterGap(hours float64) bool {
	return hours-g.lastIn > max(gapHours, 2.5*g.spacing)
}

// unsure forgets how the sample stood: a time of unknown length has passed, in which it may have risen or fallen by as
// much as its own height.
func (g *gate) unsure() {
	if !g.smooth.begun {
		return
	}
	scale := scaleOf(g.smooth.x)
	g.smooth.pxx += scale * scale
	g.smooth.pvv += scale * scale / 4
	g.lastIn = math.Inf(-1)
}

// letIn updates the smoother.
func (g *gate) letIn(s sighting) verdict {
	p := g.smooth.predicted(s.hours)
	y, r := s.level+g.carry, g.variance(s)
	d := y - p.x
	g.noise.learn(d*d, p.pxx+s.rounding, s.white, s.spread)
	g.smooth = p.updated(y, r)
	g.lastIn, g.rounding, g.absent, g.unveiled = s.hours, s.rounding, 0, false
	return verdict{in: []sighting{s}}
}

// wait keeps a level that does not fit; those before it are dropped where it does not agree with them either.
func (g *gate) wait(s sighting) {
	if n := len(g.waiting); n > 0 {
		last := g.waiting[n-1]
		d := math.Abs(s.level - last.level - g.smooth.v*(s.hours-last.hours))
		if d > max(gateMM, gateSigmas*math.Sqrt(g.variance(s)+g.variance(last))) {
			g.waiting = g.waiting[:0]
		}
	}
	if len(g.waiting) == 64 {
		g.waiting = g.waiting[:copy(g.waiting, g.waiting[1:])]
	}
	g.waiting = append(g.waiting, s)
}

func (g *gate) waitReason(s sighting) string {
	switch step := g.step(); {
	case len(g.waiting) < 3:
		return asideAlone
	case math.Abs(step) > farMM:
		return asideCovered
	}
	return asideMoved
}

// covered asks about what has stood in the way for a while; empty if nothing has.
func (g *gate) covered() string {
	n := len(g.waiting)
	step := g.step()
	if math.Abs(step) <= farMM || g.waiting[n-1].hours-g.waiting[0].hours < farHours {
		return ""
	}
	if step > 0 {
		return "Something has stood between the sensor and the sample for a while: a lid, a cloth? Take it away, or rebase if the jar stands elsewhere now."
	}
	return "The sensor sees something far below the sample: does the jar stand elsewhere? Put it back, or rebase."
}

// step is how far the waiting levels lie above the prediction, mm.
func (g *gate) step() float64 {
	sum, weight := 0.0, 0.0
	gap := g.afterGap(g.waiting[0].hours)
	for _, w := range g.waiting {
		k := 1 / g.variance(w)
		level, to := w.level+g.carry, g.smooth.predicted(w.hours).x
		if from := g.smooth.x; gap { // anything between the level held and its prediction may have come about unseen
			to = min(max(level, min(from, to)), max(from, to))
		}
		sum += k * (level - to)
		weight += k
	}
	return sum / weight
}

// agreed reports whether the waiting levels have agreed for long enough to be believed.
func (g *gate) agreed(c context) bool {
	n := len(g.waiting)
	span := g.waiting[n-1].hours - g.waiting[0].hours
	if g.resumes(c) {
		return n >= 3
	}
	step := g.step()
	need := shiftHours
	switch {
	case !c.settled || c.yielding:
	case math.Abs(step) > farMM:
		need = farHours
		if !g.movesLike() {
			return false
		}
	case step < 0 && g.absent < 2 && !g.unveiled:
		need = dropHours
	}
	return n >= min(enough, 3+int(need/max(g.spacing, 1e-3))) && span >= need
}

// resumes reports whether the waiting levels go on where the sample was lost from sight. Before its peak dough does not
// fall meanwhile, unless that was so long that it may have peaked unseen.
func (g *gate) resumes(c context) bool {
	last := g.waiting[len(g.waiting)-1]
	if !g.afterGap(g.waiting[0].hours) || !g.fits(last) {
		return false
	}
	lost := g.smooth.x - last.level - g.carry
	if -lost > g.growth(last.hours-g.lastIn) {
		return false
	}
	return c.mayFall || c.yielding || last.hours-g.lastIn > unseenHours || lost <= max(1.5*gateMM, gateSigmas*math.Sqrt(g.smooth.pxx+g.variance(last)))
}

// growth is the most by which dough may have risen in so many hours, mm: at its pace before, or 5 % an hour if that is
// more, and faster by 0.3 of its height an hour for each hour. A starter at its best gains about twice that, but not at once.
func (g *gate) growth(hours float64) float64 {
	if math.IsInf(hours, 1) {
		return hours
	}
	scale := scaleOf(g.smooth.x)
	return 2*gateMM + hours*(max(g.smooth.v, 0.05*scale)+0.3*scale*hours)
}

// movesLike reports whether the waiting levels rise or fall as the sample did, by no more doubt than tells a rising
// sample from a still lid.
func (g *gate) movesLike() bool {
	first, last := g.waiting[0], g.waiting[len(g.waiting)-1]
	span := last.hours - first.hours
	if span <= 0 {
		return false
	}
	slope := (last.level - first.level) / span
	doubt := 2 * math.Sqrt(g.variance(first)+g.variance(last)) / span
	return math.Abs(slope-g.smooth.v) <= max(doubt, 0.01*scaleOf(g.smooth.x)) && math.Abs(g.smooth.v) > 2*doubt
}

// resolve takes the waiting levels in: as they are, as the start of everything, as a true fall, or carried on.
func (g *gate) resolve(c context) verdict {
	step, last := g.step(), g.waiting[len(g.waiting)-1]
	var v verdict
	switch {
	case g.resumes(c):
		v.event = "seen again"
	case !c.settled:
		g.begin(g.waiting[0])
		v.restarted = true
	case c.yielding:
		g.jump()
		v.event = fmt.Sprintf("worked on: %+.1f mm", step)
	case step < 0 && c.mayFall:
		g.jump()
		v.event = fmt.Sprintf("fell by %.1f mm", -step)
	case step < 0 && g.unveiled:
		g.jump()
		v.event = fmt.Sprintf("a thin fog has gone: %+.1f mm", step)
	case g.absent >= 2 && step < -backMM && last.level+g.carry >= c.base:
		g.jump()
		v.event = fmt.Sprintf("back at %.1f mm lower: counted as it is seen", -step)
		v.ask = fmt.Sprintf("The jar came back and its dough stands %.0f mm lower. Is it the same dough? If it was pressed down or is another one, rebase.", -step)
	case step < 0 && g.absent < 2:
		v.event = g.drop(step, c)
	default:
		g.carryOn(step, 0.05*step)
		v.event = fmt.Sprintf("shifted by %+.1f mm: the curve is carried on", step)
		if math.Abs(step) > backMM {
			v.ask = fmt.Sprintf("Something shifted by %.0f mm, and the curve is carried on over it. If the dough itself changed, rebase.", math.Abs(step))
		}
	}
	g.takeWaiting(&v)
	return v
}

// miss counts a reading at which the sample was not there.
func (g *gate) miss(reason string) {
	if reason != asideIgnored && reason != AsideFog {
		g.absent++
	}
}

// jump believes the waiting levels.
func (g *gate) jump() {
	p := g.smooth.predicted(g.waiting[0].hours)
	p.x, p.pxx, p.pxv = g.waiting[0].level+g.carry, g.variance(g.waiting[0]), 0
	g.smooth = p
}

// drop handles levels that lie lower: a bubble that has burst, or a shift that is carried on over, or something between
// them where the trend does not say.
func (g *gate) drop(step float64, c context) (event string) {
	at := g.waiting[0]
	before := g.smooth.predicted(at.hours).x
	share, doubt := 1.0, 0.05*step
	if d := c.trend(at.hours); d.known {
		share = d.shifted(before, before+step)
		doubt = math.Abs(step) * max(math.Sqrt(share*(1-share)), 0.05)
	} else if step >= -bubbleMM {
		share, doubt = 0.5, step/2
	}
	g.carryOn(step*share, doubt)
	g.jump()
	switch {
	case share < 0.25:
		return fmt.Sprintf("a bubble has burst: %+.1f mm", step)
	case share > 0.75:
		return fmt.Sprintf("shifted by %+.1f mm: the curve is carried on", step)
	}
	return fmt.Sprintf("dropped by %.1f mm, a bubble or a shift: %.0f %% of it is carried on over", -step, 100*share)
}

// carryOn takes a shift off all levels from the waiting ones on, and adds its doubt.
func (g *gate) carryOn(shift, doubt float64) {
	mid := g.waiting[len(g.waiting)/2]
	g.carry -= shift
	g.carryVar += g.smooth.predicted(mid.hours).pxx + g.variance(mid)/float64(len(g.waiting)) + doubt*doubt
}

// takeWaiting lets all waiting levels in.
func (g *gate) takeWaiting(v *verdict) {
	v.in = append([]sighting(nil), g.waiting...)
	g.waiting = g.waiting[:0]
	for i, s := range v.in {
		if i > 0 || !v.restarted {
			g.letIn(s)
		}
	}
}

// keepSnap remembers how the gate stands.
func (g *gate) keepSnap() {
	if len(g.snaps) == 24 {
		g.snaps = g.snaps[:copy(g.snaps, g.snaps[1:])]
	}
	g.snaps = append(g.snaps, snap{g.smooth.t, g.smooth, g.carry, g.carryVar, g.lastIn})
}

// back makes the curve stand as it did at a time, or as long ago as it remembers, and returns when that was.
func (g *gate) back(hours float64) (float64, bool) {
	if len(g.snaps) == 0 {
		return 0, false
	}
	i := len(g.snaps) - 1
	for i > 0 && g.snaps[i].hours > hours {
		i--
	}
	s := g.snaps[i]
	g.smooth, g.carry, g.carryVar, g.lastIn = s.smooth, s.carry, s.carryVar, s.lastIn
	g.snaps, g.waiting = g.snaps[:i+1], g.waiting[:0]
	return s.hours, true
}
