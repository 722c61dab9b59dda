package demo

import (
	"context"
	"errors"
	"fmt"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// begin starts a run on every station that has none, after making its jar known, and returns the open runs.
func (n *night) begin(ctx context.Context) ([]rise.Run, error) {
	status, err := n.up.Desk.Status()
	if err != nil {
		return nil, err
	}
	open := map[string]int{}
	for _, s := range status.Stations {
		if s.Run != nil {
			open[s.Station] = *s.Run
		}
	}
	var runs []rise.Run
	for _, s := range n.world.Stations {
		if number, ok := open[s.Name]; ok {
			run, err := n.up.Desk.Run(number)
			if err != nil {
				return nil, err
			}
			runs = append(runs, run)
			continue
		}
		jar, err := n.up.Desk.AddJar(s.KnownJar())
		if err != nil {
			return nil, fmt.Errorf("jar %s: %w", s.Jar.Name, err)
		}
		done, err := n.up.Desk.Do(ctx, rise.Action{Kind: rise.ActionStart, Station: s.Name, Start: &rise.Run{
			Kind: rise.RunDough, Name: n.world.Name, Jar: jar.Name, Target: n.world.Target,
			InoculationPct: rise.Known(s.Dough.InoculationPct), HydrationPct: rise.Known(s.Dough.HydrationPct), SaltPct: rise.Known(s.Dough.SaltPct), Flour: "wheat",
		}})
		if err != nil {
			return nil, fmt.Errorf("start on station %s: %w", s.Name, err)
		}
		if done.Run == nil {
			return nil, errors.New("the daemon started no run")
		}
		runs = append(runs, *done.Run)
	}
	return runs, nil
}

// status is how the station of a run stands now.
func (n *night) status(run rise.Run) (api.StationStatus, error) {
	all, err := n.up.Desk.Status()
	if err != nil {
		return api.StationStatus{}, err
	}
	for _, s := range all.Stations {
		if s.Station == run.Station {
			return s, nil
		}
	}
	return api.StationStatus{}, fmt.Errorf("no station %s", run.Station)
}
