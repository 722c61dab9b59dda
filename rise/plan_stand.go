package rise

import (
	"math"
	"time"
)

// horizonH is how far ahead a plan looks, h.
const horizonH = 72

// stand is a dough that stands in a room from a moment on: its temperature then, °C, and the time constant with which it
// follows the room, h.
type stand struct {
	from time.Time
	c    float64
	tauH float64
	room Room
}

// standStepH is the step in which its temperature is followed, h.
const standStepH = 1.0 / 15

// walk follows the dough step by step until stop says so or the horizon comes. grown is the growth so far in hours at
// 25 °C, sum the integral of the temperature, °C·h.
func (s stand) walk(stop func(h, grown, gain, sum, c float64) bool) {
	yeast := SourdoughYeast()
	reference := yeast.Rate(referenceC)
	c, grown, sum := s.c, 0.0, 0.0
	pace := yeast.Rate(c) / reference
	decay := math.Exp(-standStepH / s.tauH)
	for n := 0; float64(n)*standStepH < horizonH; n++ {
		h := float64(n) * standStepH
		air := s.room.At(s.from.Add(hoursLong(h + standStepH/2)))
		next := air + (c-air)*decay
		after := yeast.Rate(next) / reference
		gain := (pace + after) / 2 * standStepH
		if stop(h, grown, gain, sum, c) {
			return
		}
		grown, sum = grown+gain, sum+(c+next)/2*standStepH
		c, pace = next, after
	}
}

func hoursLong(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// until is the mean temperature, °C, and the hours until the dough has grown for so many hours at 25 °C; infinite hours if
// that is beyond the horizon.
func (s stand) until(thermal float64) (meanC, hours float64) {
	meanC, hours = s.c, math.Inf(1)
	s.walk(func(h, grown, gain, sum, c float64) bool {
		if h > 0 {
			meanC = sum / h
		}
		if grown+gain < thermal || gain <= 0 {
			return false
		}
		hours = h + standStepH*max(0, thermal-grown)/gain
		return true
	})
	return meanC, hours
}

// when is the moment of until; zero if it is beyond the horizon.
func (s stand) when(thermal float64) time.Time {
	_, hours := s.until(thermal)
	if math.IsInf(hours, 1) {
		return time.Time{}
	}
	return s.from.Add(hoursLong(hours)).Round(time.Second)
}

// grown is the growth until a moment, in hours at 25 °C, and the dough's temperature then, °C.
func (s stand) grown(at time.Time) (thermal, endC float64) {
	want := at.Sub(s.from).Hours()
	endC = s.c
	s.walk(func(h, grown, gain, _, c float64) bool {
		thermal, endC = grown, c
		if h+standStepH <= want {
			return false
		}
		thermal += gain * max(0, want-h) / standStepH
		return true
	})
	return thermal, endC
}

// chilled is the growth, in hours at 25 °C, of a dough that goes from this stand into a refrigerator at a moment and
// stays there until another.
func (s stand) chilled(at, until time.Time, fridgeC float64) float64 {
	before, c := s.grown(at)
	after := FurtherHours(c, []Stage{{Hours: max(0, until.Sub(at).Hours()), AirC: fridgeC, TauH: s.tauH}})
	return before + after
}

// chillAt is when to put the dough into a refrigerator so that it has grown for thermal hours at 25 °C by a moment;
// false if it would not get there even in the room, or is too far already.
func (s stand) chillAt(thermal float64, until time.Time, fridgeC float64) (time.Time, bool) {
	if s.chilled(until, until, fridgeC) < thermal || s.chilled(s.from, until, fridgeC) > thermal {
		return time.Time{}, false
	}
	lo, hi := 0.0, until.Sub(s.from).Hours()
	for range 30 {
		mid := (lo + hi) / 2
		if s.chilled(s.from.Add(hoursLong(mid)), until, fridgeC) < thermal {
			lo = mid
		} else {
			hi = mid
		}
	}
	return s.from.Add(hoursLong(hi)).Round(time.Minute), true
}

// coolestPlace is a cellar or a porch: short of a refrigerator, °C.
const coolestPlace = 13.0

// airFor is the steady temperature of the air, °C, that makes the dough grow for thermal hours at 25 °C by a moment,
// between the coolest and the warmest place for a dough that is under way; false if it lies outside.
func (s stand) airFor(thermal float64, until time.Time) (float64, bool) {
	at := func(c float64) float64 {
		t := s
		t.room = Room{Points: []RoomPoint{{C: c}}}
		grown, _ := t.grown(until)
		return grown
	}
	lo, hi := coolestPlace, warmestDough
	if at(lo) > thermal || at(hi) < thermal {
		return 0, false
	}
	for range 30 {
		if mid := (lo + hi) / 2; at(mid) < thermal {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2, true
}
