package desk

import (
	"context"
	"errors"
	"fmt"
	"math"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
	"nightjar/sensor"
)

// usualBase is a usual sample's base level, mm.
const usualBase = 30.0

// Burster takes bursts between the ticks. A Live that is one lends its sensors to a calibration.
type Burster interface {
	// Burst takes a burst of n ranges with a station's distance sensor.
	Burst(ctx context.Context, station string, n int) (rise.Burst, error)
}

// BurstNow takes one burst with a station's distance sensor.
func (d *Desk) BurstNow(ctx context.Context, station string) (rise.Burst, error) {
	s, ok := d.station(station)
	if !ok {
		return rise.Burst{}, d.noStation(station)
	}
	sensors := d.Sensors
	if live, ok := d.Live.(Burster); ok {
		sensors = live
	}
	if sensors == nil {
		return rise.Burst{}, &Error{Kind: Refused, Msg: "no sensor can be asked for a burst here", Remedy: "nightjar check says what is missing"}
	}
	b, err := sensors.Burst(ctx, station, s.Ranges)
	if err != nil && (errors.Is(err, sensor.ErrAbsent) || errors.Is(err, sensor.ErrBus) || errors.Is(err, sensor.ErrIdentity)) {
		return b, &Error{Kind: Refused, Msg: fmt.Sprintf("station %s: %v", station, err), Remedy: "nightjar check says what is missing"}
	}
	return b, err
}

// Fit works out a jar from heights measured in it. It stores nothing.
func (d *Desk) Fit(c api.Calibration) (api.Calibrated, error) {
	if c.Jar.Profile.Shape == "" {
		c.Jar.Profile.Shape = rise.ShapeCylinder
	}
	if err := c.Jar.Profile.Check(); err != nil {
		return api.Calibrated{}, &Error{Kind: Bad, Msg: err.Error(), Remedy: "measure the inside of the glass again"}
	}
	s, ok := d.station(c.Station)
	if !ok {
		return api.Calibrated{}, d.noStation(c.Station)
	}
	o := optics(s.Chip)
	fit, err := rise.FitHeights(weighed(c, o))
	if err != nil {
		return api.Calibrated{}, &Error{Kind: Bad, Msg: err.Error(), Remedy: "measure that height again; what was measured before is kept"}
	}
	jar := fit.Apply(c.Jar)
	if len(c.MountingMM) > 0 {
		if jar.URepeatMM, err = rise.Repeatability(c.MountingMM, c.UMountingMM); err != nil {
			return api.Calibrated{}, &Error{Kind: Bad, Msg: err.Error(), Remedy: "lift the lid and put it back once more"}
		}
	}
	if err := jar.Check(); err != nil {
		return api.Calibrated{}, &Error{Kind: Bad, Msg: err.Error(), Remedy: "measure the heights again"}
	}
	done := api.Calibrated{Jar: jar, Fit: fit.Word, WorstMM: fit.WorstMM, Worst: fit.Worst, Warnings: []string{}}
	base := orElse(c.BaseMM, usualBase)
	done.Ability = jar.Ability(base, "").String()
	fill, err := jar.FillByLevel(base, rise.DefaultDensityGML, rise.RunDough, orElse(c.Target, 2), o)
	if err != nil {
		done.Warnings = append(done.Warnings, err.Error())
	}
	done.Warnings = append(done.Warnings, fill.Warnings...)
	if fit.Word == rise.FitPoor {
		done.Warnings = append(done.Warnings, fmt.Sprintf("the heights do not lie on a line: the one at %g mm is off by %.1f mm; measure it again", c.Heights[fit.Worst].LevelMM, fit.WorstMM))
	}
	return done, nil
}

func orElse(v, d float64) float64 {
	if v == 0 {
		return d
	}
	return v
}

// weighed are the heights with what the wall in view adds to their uncertainty.
func weighed(c api.Calibration, o rise.Optics) []rise.Height {
	heights := make([]rise.Height, len(c.Heights))
	for i, h := range c.Heights {
		h.URangeMM = math.Hypot(h.URangeMM, o.UWallMM(h.RangeMM, c.Jar.Profile.DiameterAt(h.LevelMM)))
		heights[i] = h
	}
	return heights
}

// Tare works out a run's own floor distance. It stores nothing.
func (d *Desk) Tare(t api.Tare) (api.Tared, error) {
	jar, err := d.chooseJar(t.Jar, 0)
	if err != nil {
		return api.Tared{}, err
	}
	floor, u, err := rise.TareFloor(jar, t.RangeMM, t.URangeMM, t.DiscMM)
	if err != nil {
		return api.Tared{}, &Error{Kind: Bad, Msg: err.Error(), Remedy: "empty the jar, lay the disc flat on its floor, put the sensor in its place"}
	}
	return api.Tared{Jar: jar, FloorMM: floor, UFloorMM: u}, nil
}

// Ability says what a jar can do with a usual sample on a station's sensor, and how much dough that is.
func (d *Desk) Ability(jar rise.Jar) []string {
	o := rise.Optics{ConeDeg: 22, NearestMM: 10}
	if len(d.Stations) > 0 {
		o = optics(d.Stations[0].Chip)
	}
	fill, err := jar.FillByLevel(usualBase, rise.DefaultDensityGML, rise.RunDough, 2, o)
	if err != nil {
		return []string{err.Error()}
	}
	return append([]string{fill.String(), jar.Ability(usualBase, "").String()}, fill.Warnings...)
}
