package rise

import (
	"math"
	"time"
)

// outlook makes the forecasts: on a fixed grid of run time and when an alert is decided.
type outlook struct {
	forecaster Forecaster
	prediction Prediction
	// forecast is the sample's, dough the main dough's.
	forecast, dough Forecast
	// next is the run time at which the grid asks for another, madeAt when the last was made, h; made counts them.
	next, madeAt float64
	made         int
	growth       []float64
	progress     Progress
}

// gridHours is the forecasts' grid, h of run time. freshHours is the age below which a decision takes the last one.
const (
	gridHours  = 0.25
	freshHours = 2.0 / 60
)

// due reports whether the grid asks for a forecast now.
func (o *outlook) due(hours float64) bool {
	if hours < o.next {
		return false
	}
	o.next = (math.Floor(hours/gridHours) + 1) * gridHours
	return true
}

// look makes a forecast of what is known now.
func (t *Tracker) look() {
	o := &t.outlook
	if !t.base.known {
		o.forecast, o.dough = Forecast{At: t.now.time, Reason: "settling: there is no base level yet"}, Forecast{}
		o.prediction = Prediction{Reason: o.forecast.Reason}
		return
	}
	o.prediction = o.forecaster.Predict(t.progress())
	o.made++
	o.madeAt = t.now.hours
	if o.prediction.Growth != nil {
		o.growth = o.prediction.Growth
	}
	o.forecast, o.dough = o.prediction.at(t.now), Forecast{}
	if p := o.prediction; p.DoughP50.IsKnown() {
		o.dough = Prediction{P10: p.DoughP10, P50: p.DoughP50, P90: p.DoughP90, Chance: p.Chance}.at(t.now)
	}
}

// at gives a prediction in wall time.
func (p Prediction) at(now moment) Forecast {
	f := Forecast{At: now.time, Chance: p.Chance, Reason: p.Reason, PeakMultiple: p.PeakMultiple}
	if now.time.IsZero() {
		if f.Reason == "" {
			f.Reason = "the clock has not been set yet"
		}
		return f
	}
	wall := func(h Num) time.Time {
		v, ok := h.Get()
		if !ok || math.Abs(v-now.hours) > 1000 {
			return time.Time{}
		}
		return now.time.Add(time.Duration((v - now.hours) * float64(time.Hour))).Round(time.Second)
	}
	f.PeakAt = wall(p.PeakHours)
	if f.Reason == "" {
		f.P10, f.P50, f.P90 = wall(p.P10), wall(p.P50), wall(p.P90)
	}
	return f
}

// from is the forecast as it stands at a later reading: what was expected by now and has not come is expected now.
func (f Forecast) from(now time.Time, phase Phase) Forecast {
	if now.IsZero() || phase == PhaseReady || phase == PhasePeaked || phase == PhaseFalling {
		return f
	}
	for _, at := range []*time.Time{&f.P10, &f.P50, &f.P90} {
		if !at.IsZero() && at.Before(now) {
			*at = now
		}
	}
	return f
}

// progress is the run so far as the forecaster wants it: an entry a bin, in multiples of the base as known now, from the
// lowest level on, since the slump before it is no growth.
func (t *Tracker) progress() Progress {
	p := &t.outlook.progress
	p.Hours, p.Multiple, p.TempC = p.Hours[:0], p.Multiple[:0], p.TempC[:0]
	base, _ := t.volume(t.base.level)
	dome := 1 / (1 + t.surface.dome)
	noise := 0.0
	bins := t.levels.since(t.base.at - binHours/2)
	for i := range bins {
		b := &bins[i]
		_, perMM := t.volume(b.mean())
		p.Hours = append(p.Hours, b.at())
		p.Multiple = append(p.Multiple, t.multipleAt(b.mean()))
		p.TempC = append(p.TempC, b.temp)
		noise += (b.variance() + b.rounding) * (dome * perMM / base) * (dome * perMM / base)
	}
	p.NoiseSD = math.Sqrt(noise / float64(max(len(bins), 1)))
	p.Target, p.InoculationPct, p.Past, p.Kind = t.run.Target, t.run.InoculationPct, t.past, t.run.Kind
	p.Dough = t.main.state(&t.temps)
	return *p
}
