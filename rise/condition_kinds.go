package rise

import (
	"fmt"
	"math"
	"time"
)

// readyProof is what ready needs; with sparse readings two must do.
func (t *Tracker) proof(minutes float64) proof {
	n := 3
	if t.gate.spacing > 5.0/60 {
		n = 2
	}
	return proof{n: n, hours: minutes / 60}
}

// releaseAt is the multiple below which the target counts as not reached any more.
func (t *Tracker) releaseAt(p point) float64 {
	return t.run.Target - max(readyRelease, 0.1*(t.run.Target-1), 3*p.random)
}

// decideReady asks for ready where the multiple is likelier than not to have reached the target, and certain to be near
// it. A very doubtful multiple still rings, at the latest where it is a twentieth above the target.
func (t *Tracker) decideReady(p point) bool {
	if t.fresh.n == 0 || !p.known {
		return false
	}
	target := t.run.Target
	short := (p.multiple - readyShort*target) / p.u
	sample := p.multiple+t.meanwhile() >= target+t.shiftDoubt() && (short >= normalQuantile(0.98) || p.multiple >= target/readyShort) && !t.swollen(p) && !t.haze.suspect()
	ask := sample || t.doughReady(p)
	release := p.multiple < t.releaseAt(p) && !t.doughBy(t.now.hours+doughDoubt)
	need := t.proof(1)
	if t.alerts.latches[readyIs].on {
		need.hours = 5.0 / 60
	}
	changed := t.turn(readyIs, ask, release, t.fresh, need, func() string { return t.readyText(p) })
	if !changed {
		return false
	}
	l := &t.alerts.latches[readyIs]
	if l.on {
		t.temps.frozen = true
		t.alerts.latches[soonIs].drop()
		if g := t.alerts.gap; g.explains(t.now.hours) && t.course.crossed.Or(0) <= g.to.hours+outageHours {
			l.cond.Unseen, l.cond.UnseenFrom, l.cond.UnseenTo = true, g.from.time, g.to.time
			l.cond.Text += " It got there while nothing was read."
		}
	}
	t.look()
	return true
}

// meanwhile is by how much the multiple grows while ready is being proved.
func (t *Tracker) meanwhile() float64 {
	rate, _, ok := t.ratePct()
	if !ok {
		return 0
	}
	return min(max(0, rate/100*1.5/60), 0.01)
}

// shiftDoubt is the doubt that shifts have left in the multiple: by so much more must it have risen to count as there.
func (t *Tracker) shiftDoubt() float64 {
	base, perMM := t.volume(t.base.level)
	return min(math.Sqrt(t.gate.carryVar)*perMM/base, swollenBy)
}

// swollen reports whether the multiple lies so far above its trend that a large bubble may be swelling: then ready waits
// until the trend has caught up, or the bubble burst.
func (t *Tracker) swollen(p point) bool {
	if t.alerts.latches[readyIs].on || p.multiple > t.run.Target+2*swollenBy {
		return false
	}
	if t.alerts.latches[readyIs].cond.Episode > 0 { // it has rung before: only a sample that has been rising rings again
		level, ok := t.levels.upTo(t.now.hours)
		return ok && t.multipleAt(level*(1+2*trendDoubt)) < t.run.Target-swollenBy
	}
	d := t.levels.trendAt(t.now.hours)
	return d.known && t.multipleAt(d.level+2*d.doubt) < t.run.Target-swollenBy
}

// swollenBy is how far below the target the trend may be, as a multiple.
const swollenBy = 0.05

// doughReady reports whether the main dough is at the target before its sample, by its own temperature: its median time
// has come. What it is ahead is foretold from the sample, which must have come half the way.
func (t *Tracker) doughReady(p point) bool {
	return t.doughBy(t.now.hours) && p.multiple < t.run.Target && p.multiple-2*p.random >= 1+(t.run.Target-1)/2
}

// doughBy reports whether the main dough's median time is not after a run time.
func (t *Tracker) doughBy(hours float64) bool {
	at, ok := t.outlook.prediction.DoughP50.Get()
	return ok && at <= hours
}

// doughDoubt is how far the main dough's median time may move out again without taking ready back, h.
const doughDoubt = 0.5

func (t *Tracker) readyText(p point) string {
	if t.doughReady(p) {
		return fmt.Sprintf("By its own temperature the main dough has reached your target of ×%.2f. Its sample is at ×%.2f.", t.run.Target, p.multiple)
	}
	if t.run.Kind == RunStarter {
		return t.nearPeakText(p)
	}
	text := fmt.Sprintf("The sample has risen to ×%.2f: your target of ×%.2f is reached.", p.multiple, t.run.Target)
	if rate, _, ok := t.ratePct(); ok && rate > slowPct {
		text += fmt.Sprintf(" It goes on rising by %.0f %% an hour.", rate)
	}
	if m, ok := t.doughMultiple().Get(); ok && math.Abs(m-p.multiple) > 0.05 {
		text += fmt.Sprintf(" By its own temperature the main dough is at ×%.2f.", m)
	}
	return text
}

// advancePhase tells the phases of a new multiple.
func (t *Tracker) advancePhase(p point) {
	rate, u, ok := t.ratePct()
	t.phase.advance(state{hours: t.now.hours, point: p, ratePct: rate, ratePctU: u, rated: ok, ready: t.alerts.latches[readyIs].on})
}

// soonHours is how long before the target soon is told, h.
func (t *Tracker) soonHours() float64 {
	return max(0, t.run.SoonMin.Or(DefaultSoonMin)) / 60
}

// decideSoon asks for soon where the median forecast is near, by a fresh forecast. It is told once; a new episode needs
// the forecast to have moved out by more than its own doubt.
func (t *Tracker) decideSoon() bool {
	o, l := &t.outlook, &t.alerts.latches[soonIs]
	if t.alerts.latches[readyIs].on || !t.base.known {
		return false
	}
	lead := t.soonHours()
	if left, ok := o.left(t.now.hours); !l.on && ok && left <= lead && t.now.hours-o.madeAt >= freshHours {
		t.look()
	}
	left, ok := o.left(t.now.hours)
	ask := ok && left <= lead
	release := ok && left > lead+max(0.25, o.doubt()) || !ok && o.prediction.Chance.Or(1) < hopeless
	return t.turn(soonIs, ask, release, news{1, t.now.hours, t.now.hours}, proof{n: 1}, func() string { return t.soonText(left) })
}

// left is the time to the median of the forecast, h: the sample's or the main dough's, whichever is sooner.
func (o *outlook) left(now float64) (float64, bool) {
	p50, ok := o.prediction.P50.Get()
	return min(p50, o.prediction.DoughP50.Or(p50)) - now, ok && o.prediction.Reason == ""
}

// doubt is half the width of the forecast's 80 % interval, h.
func (o *outlook) doubt() float64 {
	p50 := o.prediction.P50.Or(0)
	if p90, ok := o.prediction.P90.Get(); ok {
		return (p90 - o.prediction.P10.Or(p50)) / 2
	}
	return p50 - o.prediction.P10.Or(p50)
}

func (t *Tracker) soonText(left float64) string {
	p := t.outlook.prediction
	p50 := p.P50.Or(0)
	if d, ok := p.DoughP50.Get(); ok && d < p50 {
		return fmt.Sprintf("About %s until the main dough, by its own temperature, is at ×%.2f; the sample takes longer.", lasting(left), t.run.Target)
	}
	if left < 2.0/60 {
		return fmt.Sprintf("×%.2f is being reached now.", t.run.Target)
	}
	text := fmt.Sprintf("About %s until ×%.2f", lasting(left), t.run.Target)
	p10, known10 := p.P10.Get()
	p90, known90 := p.P90.Get()
	if known10 && known90 {
		text += fmt.Sprintf(", with luck %s, at the latest %s", lasting(p10-t.now.hours), lasting(p90-t.now.hours))
	}
	return text + "."
}

// decidePast asks for past where the sample has gone well beyond its target. A starter is to go on to its peak.
func (t *Tracker) decidePast(p point) bool {
	if t.fresh.n == 0 || !p.known || t.run.Kind == RunStarter {
		return false
	}
	limit := 1 + pastShare*(t.run.Target-1)
	ready := t.alerts.latches[readyIs].on
	ask := ready && p.multiple-p.random >= limit
	return t.turn(pastIs, ask, !ready, t.fresh, t.proof(2), func() string {
		return fmt.Sprintf("The sample is past its target: ×%.2f, and you wanted ×%.2f.", p.multiple, t.run.Target)
	})
}

// decideFalling follows the phase, which has its own hysteresis.
func (t *Tracker) decideFalling(p point) bool {
	falling := t.phase.phase == PhaseFalling
	return t.turn(fallingIs, falling, !falling, news{1, t.now.hours, t.now.hours}, proof{n: 1}, func() string {
		return fmt.Sprintf("The sample is falling: it stood at ×%.2f and is at ×%.2f now.", t.phase.top, p.multiple)
	})
}

// decideTemperature asks for cold and warm by the smoothed temperature, while there is still something to rise.
func (t *Tracker) decideTemperature() bool {
	c, ok := t.temps.now.Get()
	if !ok {
		return false
	}
	by, need := news{1, t.now.hours, t.now.hours}, proof{n: 3, hours: 0.5}
	open := !t.alerts.latches[readyIs].on && !t.alerts.chilled
	cold := t.turn(coldIs, open && c < coldC, !open || c > coldC+1.5, by, need, func() string {
		return fmt.Sprintf("The sample is at %.0f °C: it will hardly rise until it is warmer.", c)
	})
	warm := t.turn(warmIs, open && c > warmC, !open || c < warmC-1.5, by, need, func() string {
		return fmt.Sprintf("The sample is at %.0f °C: much warmer harms its yeast. Move it somewhere cooler.", c)
	})
	return cold || warm
}

// lasting is a time in words, to five minutes where it is long.
func lasting(hours float64) string {
	minutes := int(math.Round(max(hours, 0) * 60))
	if minutes > 20 {
		minutes = (minutes + 2) / 5 * 5
	}
	switch {
	case minutes < 1:
		return "a moment"
	case minutes == 1:
		return "1 minute"
	case minutes < 100:
		return fmt.Sprintf("%d minutes", minutes)
	}
	d := time.Duration(minutes) * time.Minute
	return fmt.Sprintf("%d h %02d min", int(d.Hours()), minutes%60)
}
