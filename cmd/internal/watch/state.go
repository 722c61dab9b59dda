package watch

import (
	"encoding/json"
	"fmt"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// staleAfter is the age at which the newest usable reading no longer speaks for now.
const staleAfter = 5 * time.Minute

// publish sends the station's state out. It is called with the lock held.
func (s *station) publish() {
	if s.w.o.Publisher == nil {
		return
	}
	b, err := json.Marshal(s.state())
	if err != nil {
		s.w.log.Error("encode the state", "station", s.Name, "err", err)
		return
	}
	s.w.o.Publisher.State(s.Name, b)
}

// state is the station's state now. It is called with the lock held.
func (s *station) state() api.State {
	st := api.State{
		Point: api.NewPoint(s.est), Station: s.Name, JarC: s.last.JarC, DoughC: s.last.DoughC, RoomC: s.last.RoomC,
		Active: []rise.AlertKind{},
	}
	if s.run == nil {
		st.Point = api.Point{Time: s.last.Time}
	} else {
		st.Run = &s.run.Number
		st.Target = rise.Known(s.run.Target)
	}
	st.Stale = s.w.o.Clock.Boot()-s.good.At > staleAfter || s.good.Stamp.IsZero()
	active, err := s.w.o.Store.Active(s.Name)
	if err != nil {
		s.w.log.Error("read the active alerts", "station", s.Name, "err", err)
	}
	for _, a := range active {
		st.Active = append(st.Active, a.Kind)
	}
	return st
}

// Status is how a station stands, false if there is no such station.
func (w *Watch) Status(name string) (api.StationStatus, bool) {
	s := w.byName[name]
	if s == nil {
		return api.StationStatus{}, false
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	st := api.StationStatus{State: s.state(), LastReading: s.last.Time, Fault: s.trouble.text}
	if s.run != nil {
		st.Name = s.run.Name
		st.Jar = fmt.Sprintf("%s@%d", s.run.Jar, s.run.JarVersion)
	}
	alerts, err := w.o.Store.Active(name)
	if err != nil {
		w.log.Error("read the active alerts", "station", name, "err", err)
	}
	st.Alerts = alerts
	return st, true
}

// Stations lists the stations' names in the order of the configuration.
func (w *Watch) Stations() []string {
	names := make([]string, len(w.stations))
	for i, s := range w.stations {
		names[i] = s.Name
	}
	return names
}
