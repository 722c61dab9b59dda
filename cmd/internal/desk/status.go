package desk

import (
	"fmt"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Standing is what a station's status is made of.
type Standing struct {
	Station string
	// Run is the open run, nil if there is none; Estimate is its newest one.
	Run      *rise.Run
	Estimate rise.Estimate
	// Last is the newest reading, zero if there is none.
	Last rise.Reading
	// Alerts are the unacknowledged ones.
	Alerts []rise.Alert
	// Now is this moment; a newest usable reading older than StaleAfter before it is stale.
	Now        time.Time
	StaleAfter time.Duration
}

// Status puts a standing in words and numbers.
func (s Standing) Status() api.StationStatus {
	st := api.StationStatus{Alerts: s.Alerts, LastReading: s.Last.Time, Fault: string(s.Last.Fault)}
	usable := s.Last.Time
	if s.Run != nil {
		st.State.Point = api.NewPoint(s.Estimate)
		usable = s.Estimate.Time
		st.Name, st.Jar = s.Run.Name, atVersion(s.Run.Jar, s.Run.JarVersion)
		st.Run, st.Target = &s.Run.Number, rise.Known(s.Run.Target)
	}
	st.Time = s.Now
	st.Station = s.Station
	st.JarC, st.DoughC, st.RoomC = s.Last.JarC, s.Last.DoughC, s.Last.RoomC
	st.Stale = usable.IsZero() || s.Now.Sub(usable) > s.StaleAfter || s.Last.Fault != rise.FaultNone
	st.Active = []rise.AlertKind{}
	for _, a := range s.Alerts {
		st.Active = append(st.Active, a.Kind)
	}
	return st
}

// StaleAfter is the age at which a newest reading no longer speaks for now.
func StaleAfter(every time.Duration) time.Duration { return max(3*every, 2*time.Minute) }

// Status answers how all stations stand.
func (d *Desk) Status() (api.Status, error) {
	st := api.Status{Time: d.now().Wall, Device: d.Device, Live: d.Live != nil, Stations: []api.StationStatus{}, Health: []api.Health{}}
	st.CanWake, st.CanWakeWhy = d.canWake()
	for _, s := range d.Stations {
		one, err := d.stationStatus(s.Name, s.Every)
		if err != nil {
			return api.Status{}, err
		}
		st.Stations = append(st.Stations, one)
	}
	var err error
	if st.OutcomeWanted, err = d.Wanted(); err != nil {
		return api.Status{}, fmt.Errorf("outcomes still to be told: %w", err)
	}
	if d.Live != nil {
		st.Health = append(st.Health, d.Live.Health()...)
	}
	return st, nil
}

// stationStatus asks the daemon, or else the store.
func (d *Desk) stationStatus(station string, every time.Duration) (api.StationStatus, error) {
	if d.Live != nil {
		if st, ok := d.Live.Status(station); ok {
			return st, nil
		}
	}
	s := Standing{Station: station, Now: d.now().Wall, StaleAfter: StaleAfter(every)}
	var err error
	if s.Alerts, err = d.Store.Active(station); err != nil {
		return api.StationStatus{}, fmt.Errorf("alerts of station %s: %w", station, err)
	}
	if s.Last, _, err = d.Store.LastReading(station); err != nil {
		return api.StationStatus{}, fmt.Errorf("newest reading of station %s: %w", station, err)
	}
	run, open, err := d.Store.OpenRun(station)
	if err != nil {
		return api.StationStatus{}, fmt.Errorf("open run of station %s: %w", station, err)
	}
	if open {
		s.Run = &run
		s.Estimate, err = d.newest(run.Number)
	}
	return s.Status(), err
}
