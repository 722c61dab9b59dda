package desk

import (
	"context"
	"fmt"
	"slices"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// usualColdH is how long a dough stays in the refrigerator where nobody says, h.
const usualColdH = 12

// Stop answers at which multiple to end bulk for what comes after it.
func (d *Desk) Stop(ctx context.Context, ask api.StopAsk) (api.Stopping, error) {
	var out api.Stopping
	run, err := d.stopRun(&ask, &out)
	if err != nil {
		return out, err
	}
	speed, err := d.speed(ctx, run.Starter)
	if err != nil {
		return out, err
	}
	after, err := d.after(ask, run, &out)
	if err != nil {
		return out, err
	}
	out.Basis = speed.From
	if out.Stop, err = rise.StopFor(run, speed, after); err != nil {
		return out, bad(err, "say what comes after bulk, such as --piece-kg 0.9 --cold-c 4; nightjar plan stop --help")
	}
	return out, nil
}

// stopRun is the dough that is asked about: the run's numbers, the recipe's, and what was given over both. It fills in
// the temperatures that a run shows.
func (d *Desk) stopRun(ask *api.StopAsk, out *api.Stopping) (rise.Run, error) {
	run := rise.Run{Kind: rise.RunDough}
	if ask.Run > 0 {
		c, err := d.gather(ask.Run)
		if err != nil {
			return run, err
		}
		run = c.Run
		seen(ask, c.Readings)
	}
	for _, s := range []struct {
		to   *string
		from string
	}{{&run.Recipe, ask.Recipe}, {&run.Starter, ask.Starter}, {&run.Station, ask.Station}} {
		if s.from != "" {
			*s.to = s.from
		}
	}
	if ask.Target != 0 {
		run.Target = ask.Target
	}
	if ask.InoculationPct.IsKnown() {
		run.InoculationPct = ask.InoculationPct
	}
	if err := d.follow(&run); err != nil {
		return run, err
	}
	if run.Target == 0 {
		run.Target = 2
	}
	if v, ok := run.InoculationPct.Get(); ok {
		if err := inoculation.check(v); err != nil {
			return run, err
		}
	}
	if caution := d.perishable(run); caution != "" {
		out.Hints = append(out.Hints, caution)
	}
	return run, checkTarget(run.Target)
}

// seen takes over the newest temperatures of a run's readings where none is given.
func seen(ask *api.StopAsk, readings []rise.Reading) {
	for _, r := range slices.Backward(readings[max(0, len(readings)-60):]) {
		if !ask.DoughC.IsKnown() {
			ask.DoughC = r.DoughC
			if !r.DoughC.IsKnown() {
				ask.DoughC = r.JarC
			}
		}
		if !ask.RoomC.IsKnown() {
			ask.RoomC = r.RoomC
		}
	}
}

// after is what comes after bulk, with what was left out filled in.
func (d *Desk) after(ask api.StopAsk, run rise.Run, out *api.Stopping) (rise.After, error) {
	warm, ok := ask.DoughC.Get()
	if !ok {
		return rise.After{}, &Error{Kind: Bad, Msg: "how warm is the dough at the end of bulk?", Remedy: "give it with --dough-c, such as --dough-c 25"}
	}
	a := rise.After{
		DoughC: warm, RoomC: ask.RoomC.Or(warm), BenchH: ask.BenchH, ProofH: ask.ProofH, ColdH: ask.ColdH, ColdC: ask.ColdC.Or(4), Piece: ask.Piece,
	}
	a.ProofC = ask.ProofC.Or(a.RoomC)
	if a.BenchH == 0 && a.ProofH == 0 && a.ColdH == 0 {
		a.ColdH = usualColdH
	}
	switch {
	case ask.Piece.DoughKg != 0:
		out.Cooling = fmt.Sprintf("a piece of %.4g kg", ask.Piece.DoughKg)
	default:
		tau, nights, err := d.cooling(run.Station, a.ColdC)
		if err != nil {
			return a, err
		}
		if a.TauH = tau; tau.IsKnown() {
			out.Cooling = fmt.Sprintf("the dough's own cooling on %d earlier nights", nights)
			break
		}
		a.Piece.DoughKg = run.DoughKg.Or(0)
		if a.Piece.DoughKg == 0 {
			return a, &Error{Kind: Bad, Msg: "how heavy is one shaped piece?", Remedy: "give its mass with --piece-kg, such as --piece-kg 0.9: a large one cools slowly and goes on rising"}
		}
		out.Cooling = fmt.Sprintf("the whole dough of %.4g kg as one piece", a.Piece.DoughKg)
	}
	if nap := a.BenchH + a.ProofH; len(out.Hints) > 0 && nap > 0 {
		out.Hints = append(out.Hints, "The hours on the bench and in the proof count towards that limit.")
	}
	return a, nil
}

// Cooling is read from a probe in the dough, from when it was chilled on, over at least leastCooling and at most
// mostCooling: later it is as cold as the air.
const (
	leastCooling = time.Hour
	mostCooling  = 8 * time.Hour
)

// cooling is the time constant, h, with which the dough cooled on a station's newest runs, where a probe lay in it when it
// was marked as chilled: the median, and how many nights show it.
func (d *Desk) cooling(station string, coldC float64) (tau rise.Num, nights int, err error) {
	runs, err := d.Store.Runs()
	if err != nil {
		return tau, 0, err
	}
	var taus []float64
	for _, r := range slices.Backward(runs) {
		if len(taus) == nightsSeen {
			break
		}
		if station != "" && r.Station != station || r.Kind != rise.RunDough {
			continue
		}
		c, err := d.Store.Case(r.Number)
		if err != nil {
			continue // a damaged night tells nothing of the cooling
		}
		if tau, ok := cooled(c, coldC); ok {
			taus = append(taus, tau)
		}
	}
	if len(taus) == 0 {
		return rise.Num{}, 0, nil
	}
	slices.Sort(taus)
	return rise.Known((taus[(len(taus)-1)/2] + taus[len(taus)/2]) / 2), len(taus), nil
}

// cooled is a run's own time constant, h; false if it shows none.
func cooled(c rise.Case, coldC float64) (tau float64, ok bool) {
	i := slices.IndexFunc(c.Actions, func(a rise.Action) bool { return a.Kind == rise.ActionMark && a.Mark == "chilled" })
	if i < 0 {
		return 0, false
	}
	from := c.Actions[i].When.Wall
	var hours, temps []float64
	for _, r := range c.Readings {
		v, known := r.DoughC.Get()
		if since := r.Time.Sub(from); known && since >= 0 && since <= mostCooling {
			hours, temps = append(hours, since.Hours()), append(temps, v)
		}
	}
	if len(hours) < 2 || hours[len(hours)-1] < leastCooling.Hours() {
		return 0, false
	}
	tau, err := rise.CoolingTau(hours, temps, coldC)
	return tau, err == nil
}
