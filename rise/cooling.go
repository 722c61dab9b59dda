package rise

import (
	"errors"
	"fmt"
	"math"
)

// Form is the shape of a piece of dough, as far as cooling asks.
type Form string

// The forms.
const (
	// FormBall cools from all around: a round, a full bowl.
	FormBall Form = "ball"
	// FormRoll is a long loaf, cooled from around its length.
	FormRoll Form = "roll"
	// FormLayer is a layer in a box or a tray, cooled from above and below.
	FormLayer Form = "layer"
)

// Piece is a piece of dough in air of another temperature. Zero fields take their defaults.
type Piece struct {
	// DoughKg and VesselKg are the masses of the dough and of what holds it, kg.
	DoughKg  float64 `json:"dough_kg"`
	VesselKg float64 `json:"vessel_kg,omitempty"`
	// Form is a ball by default. ThickMM is a layer's thickness or a roll's diameter, mm.
	Form    Form    `json:"form,omitempty"`
	ThickMM float64 `json:"thick_mm,omitempty"`
	// Multiple is how far the dough has risen; 1.5 by default.
	Multiple float64 `json:"multiple,omitempty"`
	// AirW is the heat that air takes off its surface, W/m²/K: 8 in still air (the default), about 15 with a fan (common
	// practice, no source).
	AirW float64 `json:"air_w,omitempty"`
	// Covered is under a cloth, a lid or a bag: half as much heat.
	Covered bool `json:"covered,omitempty"`
}

// Heat of dough: conductivity 0.38-0.50 W/m/K, falling as gas grows, and specific heat 2.6-2.9 kJ/kg/K at 43-46 % water
// (tables in Rask 1989, J. Food Eng. 9:167; numbers from memory). Glass and ceramics take about 0.85 kJ/kg/K (from memory).
const (
	conductsW  = 0.40
	heatVessel = 0.85
	stillAirW  = 8.0
)

// Check says what is wrong with a piece; nil if nothing is.
func (p Piece) Check() error {
	switch {
	case !(p.DoughKg > 0 && p.DoughKg < 1000):
		return fmt.Errorf("%g kg of dough cannot be cooled: give its mass in kilograms", p.DoughKg)
	case p.DoughKg > 50:
		return fmt.Errorf("%g kg of dough: was %g kg meant?", p.DoughKg, p.DoughKg/1000)
	case !(p.VesselKg >= 0 && p.VesselKg <= 50):
		return fmt.Errorf("a vessel of %g kg cannot be: give its mass in kilograms", p.VesselKg)
	case p.Form != "" && p.Form != FormBall && p.Form != FormRoll && p.Form != FormLayer:
		return fmt.Errorf("form %q is unknown: it is one of ball, roll, layer", p.Form)
	case (p.Form == FormRoll || p.Form == FormLayer) && !(p.ThickMM > 0 && p.ThickMM < 1000):
		return fmt.Errorf("a %s needs its thickness in mm", p.Form)
	case p.Multiple != 0 && !(p.Multiple >= 1 && p.Multiple <= 10):
		return fmt.Errorf("×%g cannot be: a multiple is at least 1", p.Multiple)
	case !(p.AirW >= 0 && p.AirW <= 500):
		return fmt.Errorf("%g W/m²/K cannot be air: 8 is still, 15 has a fan", p.AirW)
	}
	return nil
}

// TauH is the time constant with which the piece's mean temperature follows the air's, h. It is a lump whose inside
// resists as well: the conductance is 1/(1/h + R/5k) for a ball, R/4k for a roll, L/3k for a layer of half thickness L
// (the mean resistance from inside to surface where the whole body cools at one pace).
func (p Piece) TauH() (float64, error) {
	if err := p.Check(); err != nil {
		return 0, err
	}
	volume := p.DoughKg * doughLitres / 1000 * orDefault(p.Multiple, 1.5) // m³
	surface, depth := p.surface(volume)
	air := orDefault(p.AirW, stillAirW)
	if p.Covered {
		air /= 2
	}
	heat := 1000 * (p.DoughKg*heatDough + p.VesselKg*heatVessel) // J/K
	return heat * (1/air + depth/conductsW) / surface / 3600, nil
}

// surface is the surface that cools, m², and the depth that resists as conduction over it, m.
func (p Piece) surface(volume float64) (surface, depth float64) {
	half := p.ThickMM / 2000
	switch p.Form {
	case FormRoll:
		return 2 * volume / half, half / 4
	case FormLayer:
		return volume / half, half / 3
	}
	r := math.Cbrt(3 * volume / (4 * math.Pi))
	return 4 * math.Pi * r * r, r / 5
}

func orDefault(v, d float64) float64 {
	if v == 0 {
		return d
	}
	return v
}

// Stage is a stretch of time in air of one temperature.
type Stage struct {
	// Hours is how long, AirC the air's temperature, °C, TauH the dough's time constant, h; 0 is dough that takes the air's
	// temperature at once.
	Hours float64 `json:"hours"`
	AirC  float64 `json:"air_c"`
	TauH  float64 `json:"tau_h"`
}

// stageSteps is the count of steps for the integral over a stage, even.
const stageSteps = 240

// Equivalent is the rise that a stage still brings, as hours at the rate 1, and the dough's temperature at its end, °C.
// The dough begins at fromC; rate is the speed of growth over temperature.
func (s Stage) Equivalent(fromC float64, rate func(tempC float64) float64) (hours, endC float64) {
	at := func(h float64) float64 {
		if s.TauH <= 0 {
			return s.AirC
		}
		return s.AirC + (fromC-s.AirC)*math.Exp(-h/s.TauH)
	}
	step := s.Hours / stageSteps
	for i := range stageSteps + 1 {
		weight := 2.0 + 2*float64(i%2)
		if i == 0 || i == stageSteps {
			weight = 1
		}
		hours += weight * rate(at(float64(i)*step)) * step / 3
	}
	return hours, at(s.Hours)
}

// FurtherHours is the rise that is still to come over some stages, in hours at 25 °C, for dough that begins at fromC.
func FurtherHours(fromC float64, stages []Stage) float64 {
	perHour := SourdoughYeast().Rate(referenceC)
	sum := 0.0
	for _, s := range stages {
		var h float64
		h, fromC = s.Equivalent(fromC, func(c float64) float64 { return coldRate(c) / perHour })
		sum += h
	}
	return sum
}

// coldRate is the yeast's rate where a refrigerator only slows it: that of the cardinal model, and in the cold at
// least that of a square-root law through what Gause measured (1932, Q. Rev. Biol. 7:27, Table 5, logistic fits:
// 0.011-0.016 per hour at 5.7 °C, 0.15-0.20 at 28 °C). The cardinal model has growth end at 4 °C, which is right for
// a forecast of hours and too little for a night in the cold; a constant Q10 would have three times as much.
func coldRate(tempC float64) float64 {
	const none, per = -2.7, 30.7 // °C, K: √(0.0135/0.175) = (5.7 − none)/(28 − none)
	yeast := SourdoughYeast()
	if tempC <= none {
		return 0
	}
	if rate := yeast.Rate(tempC); tempC > 13 {
		return rate
	}
	cold := (tempC - none) / per
	return max(yeast.Rate(tempC), yeast.Rate(28)*cold*cold)
}

// ErrNoCooling is returned where a series does not cool or warm towards the air's temperature.
var ErrNoCooling = errors.New("the temperature does not move towards the air's")

// CoolingTau is the time constant, h, of a dough whose temperature was watched in air of airC: a straight line through the
// logarithm of its distance from the air, each point weighted by that distance. hours and tempC are one entry a point.
func CoolingTau(hours, tempC []float64, airC float64) (float64, error) {
	var sw, sx, sy, sxx, sxy float64
	for i := range min(len(hours), len(tempC)) {
		d := math.Abs(tempC[i] - airC)
		if !(d > 0.3) || math.IsNaN(hours[i]) || math.IsInf(d+hours[i], 0) {
			continue
		}
		w, x, y := d*d, hours[i], math.Log(d)
		sw, sx, sy, sxx, sxy = sw+w, sx+w*x, sy+w*y, sxx+w*x*x, sxy+w*x*y
	}
	det := sw*sxx - sx*sx
	if !(det > 0) {
		return 0, ErrNoCooling
	}
	if slope := (sw*sxy - sx*sy) / det; slope < -1e-3 {
		return -1 / slope, nil
	}
	return 0, ErrNoCooling
}
