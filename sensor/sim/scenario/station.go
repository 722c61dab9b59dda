package scenario

import (
	"math"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim"
	"nightjar/sensor/sim/dough"

	"periph.io/x/conn/v3/gpio"
)

// Station is a built station. It is the sim.Scene of its ranger.
type Station struct {
	Setup
	// XSHUT is the ranger's reset line, Interrupt its interrupt line.
	XSHUT, Interrupt gpio.PinIO

	scenario Scenario
	origin   time.Duration // the scenario's start in time since boot
	night    dough.Night
	chip     chip
	bus      *sim.Bus // which it is on: a channel's, behind a multiplexer
	views    []Fault
}

// Truth is what the daemon has to find out.
type Truth struct {
	// Multiple is the sample's true volume over that of the settled dough at mixing, MainMultiple the main dough's.
	Multiple, MainMultiple float64
	// LevelMM is the sample's mean level, SurfaceMM the height of the spot that the ranger looks at, above the jar's floor, mm.
	LevelMM, SurfaceMM float64
	// SampleC, MainC and RoomC are temperatures, °C; RoomRH is the relative humidity, %.
	SampleC, MainC, RoomC, RoomRH float64
}

// newStation simulates the station's dough through the night.
func (s Scenario) newStation(u Setup, origin time.Duration) *Station {
	st := &Station{Setup: u, scenario: s, origin: origin}
	room := func(h float64) float64 { return s.roomAt(u.Mixed + hours(h)).C }
	st.night = dough.Simulate(u.Dough, room, dough.Span{Hours: max(1, (s.Length - u.Mixed).Hours()), Main: true})
	for _, f := range s.Faults {
		if kinds[f.Kind].view != nil && (f.Station == "" || f.Station == u.Name) {
			st.views = append(st.views, f)
		}
	}
	return st
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// swing is a sine of a period.
func swing(at, period time.Duration) float64 {
	return math.Sin(2 * math.Pi * float64(at) / float64(period))
}

// True is the truth at a moment since the scenario's start. Before the dough is mixed the level is 0.
func (s *Station) True(at time.Duration) Truth {
	room := s.scenario.roomAt(min(at, s.scenario.Length))
	t := Truth{RoomC: room.C, RoomRH: room.RH, SampleC: room.C, MainC: room.C, Multiple: 1, MainMultiple: 1}
	if at < s.Mixed {
		return t
	}
	i, share := s.index(at)
	between := func(col []float64) float64 { return col[i] + share*(col[i+1]-col[i]) }
	n := s.night
	t.Multiple, t.MainMultiple = between(n.Multiple), between(n.MainMultiple)
	t.LevelMM, t.SurfaceMM = between(n.LevelMM), between(n.SurfaceMM)
	t.SampleC, t.MainC = between(n.SampleC), between(n.MainC)
	return t
}

// index finds the entry of the night before a moment and how far on the moment is towards the next.
func (s *Station) index(at time.Duration) (i int, share float64) {
	x := float64(at-s.Mixed) / float64(s.night.Every)
	i = min(int(x), len(s.night.Hours)-2)
	return i, min(1, x-float64(i))
}

// TimeTo is when the sample's true multiple first reaches target, from the scenario's start; false if it never does.
func (s *Station) TimeTo(target float64) (time.Duration, bool) {
	h, ok := s.night.TimeTo(target)
	return s.Mixed + hours(h), ok
}

// MainTimeTo is TimeTo of the main dough.
func (s *Station) MainTimeTo(target float64) (time.Duration, bool) {
	h, ok := s.night.MainTimeTo(target)
	return s.Mixed + hours(h), ok
}

// KnownJar is the jar as people have measured it.
func (s *Station) KnownJar() rise.Jar {
	return rise.Jar{
		Name: s.Jar.Name, Version: 1, FloorMM: s.Jar.FloorMM + s.Jar.ErrorMM, UFloorMM: s.Jar.UFloorMM,
		Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: s.Jar.DiameterMM}, Made: s.scenario.Start,
	}
}

// Target implements sim.Scene.
func (s *Station) Target(boot time.Duration) sim.Target {
	at := boot - s.origin
	d := s.Jar.FloorMM - s.True(at).SurfaceMM
	wall := s.WallMM * (d / s.Jar.FloorMM) * (d / s.Jar.FloorMM)
	t := sim.Target{DistanceMM: d - wall, Reflect: s.Reflect, AmbientMcps: s.AmbientMcps}
	for _, f := range s.views {
		if f.holds(at) {
			kinds[f.Kind].view(f, s.Jar, at, &t)
		}
	}
	t.DistanceMM = max(0, t.DistanceMM)
	return t
}

// ChipC implements sim.Scene: the chip warms itself a little above the room.
func (s *Station) ChipC(boot time.Duration) float64 { return s.True(boot-s.origin).RoomC + 2 }

var _ sim.Scene = (*Station)(nil)
