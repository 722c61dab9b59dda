package rise

import (
	"math"
	"slices"
)

// mainDough follows the dough that the sample stands for: the sample's curve, as a function of the sample's thermal
// time, read off at the dough's own thermal time. The small sample follows the room faster than the dough does.
type mainDough struct {
	// offset is the dough's temperature above the sample's when it was last known, at offsetAt.
	offset, offsetAt float64
	known            bool
	thermal, at      float64
	lastC            float64
	// told is a temperature by hand from before the sample's own was known, °C.
	told Num
	// tau is the time constant with which the dough comes to the sample's temperature, h.
	tau   float64
	probe doughProbe
	curve []thermalLevel
}

// thermalLevel is a level of the sample at its thermal time.
type thermalLevel struct{ thermal, level float64 }

// doughHours is the time constant with which a dough of a kilogram or two comes to the temperature of its sample's
// surroundings while nobody measures it, h: 1.7 h by a lumped model of a bare bowl, 2.3–4.6 h in a published home series.
const doughHours = 3.0

// doughTau is the time constant of a dough of some kilograms in a covered bowl, h; doughHours where the mass is unknown.
func doughTau(kg Num) float64 {
	if v, ok := kg.Get(); ok {
		if tau, err := (Piece{DoughKg: v, Covered: true}).TauH(); err == nil {
			return tau
		}
	}
	return doughHours
}

// see takes a temperature of the main dough.
func (d *mainDough) see(hours float64, doughC Num, t *temperatures) {
	c, ok := plausibleC(doughC)
	sample, sampled := t.last.Get()
	switch {
	case !ok:
		return
	case !sampled:
		d.told = doughC
		return
	}
	d.told = Num{}
	if !d.known {
		d.known, d.thermal, d.at, d.lastC = true, t.thermal, hours, c
	}
	d.offset, d.offsetAt = c-sample, hours
}

// add carries the dough's thermal time on to a reading. Until its temperature was first known the dough is taken to have
// been as warm as the sample.
func (d *mainDough) add(hours float64, r Reading, t *temperatures) {
	sample, ok := t.last.Get()
	if ok && d.told.IsKnown() {
		d.see(hours, d.told, t)
	}
	if c, measured := plausibleC(r.DoughC); measured && r.JarC.IsKnown() && d.probe.believed(hours, c, d.expected(hours, sample), r.RoomC.Or(sample)) {
		d.see(hours, r.DoughC, t)
	}
	if !d.known || !ok {
		return
	}
	c := d.expected(hours, sample).Or(sample)
	d.thermal += (hours - d.at) * (t.pace(d.lastC) + t.pace(c)) / 2
	d.at, d.lastC = hours, c
}

// expected is the dough's temperature by its last measured one, °C; unknown without any.
func (d *mainDough) expected(hours, sampleC float64) Num {
	if !d.known {
		return Num{}
	}
	return Known(sampleC + d.offset*math.Exp((d.offsetAt-hours)/d.tau))
}

// state is the dough beside its sample, for a forecast.
func (d *mainDough) state(t *temperatures) DoughState {
	if !d.known {
		return DoughState{}
	}
	return DoughState{AheadH: Known(d.thermal - t.thermal), TempC: Known(d.lastC), TauH: d.tau}
}

// trace keeps the sample's curve: the newest bin, begun anew or still growing.
func (d *mainDough) trace(thermal, level float64, begun bool) {
	if n := len(d.curve); n > 0 && !begun {
		d.curve[n-1].level = level
		return
	}
	d.curve = append(d.curve, thermalLevel{thermal, level})
}

// cut forgets all but the first n bins of the sample's curve.
func (d *mainDough) cut(n int) { d.curve = d.curve[:min(n, len(d.curve))] }

// level is the level that the dough would have in the sample's jar; beyond the sample's newest it goes on at the
// sample's last pace. It is unknown without a temperature of the dough.
func (d *mainDough) level(ratePerThermal float64) Num {
	n := len(d.curve)
	if !d.known || n < 2 {
		return Num{}
	}
	i, _ := slices.BinarySearchFunc(d.curve, d.thermal, func(p thermalLevel, t float64) int {
		switch {
		case p.thermal < t:
			return -1
		case p.thermal > t:
			return 1
		}
		return 0
	})
	switch {
	case i == 0:
		return Known(d.curve[0].level)
	case i == n:
		return Known(d.curve[n-1].level + ratePerThermal*(d.thermal-d.curve[n-1].thermal))
	}
	a, b := d.curve[i-1], d.curve[i]
	if b.thermal <= a.thermal {
		return Known(b.level)
	}
	return Known(a.level + (b.level-a.level)*(d.thermal-a.thermal)/(b.thermal-a.thermal))
}
