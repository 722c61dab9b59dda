package desk

import (
	"context"
	"fmt"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Plan answers when a dough will be ready, or how it gets ready in time.
func (d *Desk) Plan(ctx context.Context, p api.PlanAsk) (api.Planned, error) {
	now := d.now().Wall.Local()
	ask := rise.Ask{
		Now: now, Mix: localOr(p.Mix), Ready: localOr(p.Ready), Target: p.Target,
		InoculationPct: p.InoculationPct, HydrationPct: p.HydrationPct, SaltPct: p.SaltPct, DoughC: p.DoughC, FridgeC: p.FridgeC,
	}
	var out api.Planned
	if err := d.planRecipe(p, &ask); err != nil {
		return out, err
	}
	var err error
	if ask.Speed, err = d.speed(ctx, p.Starter); err != nil {
		return out, err
	}
	if ask.Room, out.Room, err = d.room(p.RoomC, p.Station, now, 48); err != nil {
		return out, err
	}
	if ask.Target != 0 {
		if err := checkTarget(ask.Target); err != nil {
			return out, err
		}
	}
	out.Hints = append(out.Hints, ask.Hints()...)
	answer := rise.PlanMix
	if !ask.Ready.IsZero() {
		answer = rise.PlanReady
	}
	if out.Plan, err = answer(ask); err != nil {
		return out, bad(err, `ask again, such as --ready "tomorrow 07:00" --room 21`)
	}
	return out, nil
}

func localOr(t time.Time) time.Time {
	if t.IsZero() {
		return t
	}
	return t.Local()
}

// planRecipe fills what was left out from the recipe.
func (d *Desk) planRecipe(p api.PlanAsk, ask *rise.Ask) error {
	if p.Recipe == "" {
		return nil
	}
	run := rise.Run{Recipe: p.Recipe, Target: ask.Target, InoculationPct: ask.InoculationPct, HydrationPct: ask.HydrationPct, SaltPct: ask.SaltPct}
	if err := d.follow(&run); err != nil {
		return err
	}
	ask.Target, ask.InoculationPct, ask.HydrationPct, ask.SaltPct = run.Target, run.InoculationPct, run.HydrationPct, run.SaltPct
	r, err := d.Recipe(p.Recipe)
	if err != nil {
		return err
	}
	if !ask.DoughC.IsKnown() {
		ask.DoughC = r.DoughC
	}
	ask.Perishable = r.Formula.Perishable
	return nil
}

// speed is that of a starter by its past doughs and feedings; the usual one without a starter.
func (d *Desk) speed(ctx context.Context, name string) (rise.Speed, error) {
	if name == "" {
		return rise.UsualSpeed(), nil
	}
	s, _, err := d.starter(name)
	if err != nil {
		return rise.Speed{}, err
	}
	fed, err := d.feedings(ctx, s)
	if err != nil {
		return rise.Speed{}, err
	}
	all, err := d.Store.Summaries(name)
	if err != nil {
		return rise.Speed{}, err
	}
	return rise.SpeedOf(all, fed), nil
}

// nightsSeen is how many earlier runs of a station tell how warm its room gets.
const nightsSeen = 7

// room is how warm the room is expected to be: as given, or by the station's own earlier nights. It says whence.
func (d *Desk) room(given rise.Num, station string, from time.Time, hours float64) (rise.Room, string, error) {
	if c, ok := given.Get(); ok {
		if c < -5 || c > 45 {
			q := quantity{what: "room temperature", low: -5, high: 45, unit: "°C"}
			return rise.Room{}, "", q.check(c)
		}
		return rise.SteadyRoom(c), fmt.Sprintf("%.1f °C as given", c), nil
	}
	if station == "" && len(d.Stations) > 0 {
		station = d.Stations[0].Name
	}
	nights, err := d.nights(station)
	if err != nil {
		return rise.Room{}, "", err
	}
	room, err := rise.RoomOfNights(nights, from, hours)
	if err != nil {
		return room, "", bad(err, "give it with --room, such as --room 21")
	}
	return room, fmt.Sprintf("station %s's last %d runs", station, len(nights)), nil
}

// nights are the room's temperatures along a station's newest runs, or the sample's where the room has no probe.
func (d *Desk) nights(station string) ([]rise.Room, error) {
	runs, err := d.Store.Runs()
	if err != nil {
		return nil, err
	}
	var nights []rise.Room
	for i := len(runs) - 1; i >= 0 && len(nights) < nightsSeen; i-- {
		if runs[i].Station != station || runs[i].Open() {
			continue
		}
		c, err := d.Store.Case(runs[i].Number)
		if err != nil {
			continue // a damaged night tells nothing of the room
		}
		if n := rise.NightRoom(c.Readings); len(n.Points) > 1 {
			nights = append(nights, n)
		}
	}
	return nights, nil
}

// Replan answers how a rising dough gets ready at another time.
func (d *Desk) Replan(n int, ask api.ReplanAsk) (api.Planned, error) {
	c, err := d.gather(n)
	if err != nil {
		return api.Planned{}, err
	}
	if !c.Run.Open() {
		return api.Planned{}, &Error{Kind: Refused, Msg: fmt.Sprintf("%s has ended", title(c.Run)), Remedy: "plan the next one: nightjar plan --ready ..."}
	}
	_, e, err := rise.Resume(c)
	if err != nil {
		return api.Planned{}, err
	}
	r := rise.Rising{Now: d.now().Wall.Local(), Ready: localOr(ask.Ready), Run: c.Run, Multiple: e.Multiple.Or(1), Forecast: e.Forecast, FridgeC: ask.FridgeC}
	var out api.Planned
	temp := ask.RoomC
	for i := len(c.Readings) - 1; i >= 0 && i > len(c.Readings)-20; i-- {
		if t := c.Readings[i].TempC(); t.IsKnown() {
			temp = t
			break
		}
	}
	r.TempC = temp.Or(-100) // refused by name
	out.Room = "as warm as the sample is now"
	if ask.RoomC.IsKnown() {
		if r.Room, out.Room, err = d.room(ask.RoomC, "", r.Now, 24); err != nil {
			return out, err
		}
	}
	if out.Plan, err = rise.Replan(r); err != nil {
		return out, bad(err, "nightjar status shows how far it is")
	}
	return out, nil
}
