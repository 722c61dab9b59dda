package rise_test

import (
	"math/rand/v2"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"
)

// evening is when the simulated kitchens' doughs are mixed on the first day.
var evening = time.Date(2026, 2, 2, 20, 0, 0, 0, time.UTC)

// kitchen is a household: one starter, one room with its habits, warmer or cooler by half a kelvin from night to night.
type kitchen struct {
	rng     *rand.Rand
	culture dough.Culture
	mech    dough.Mechanism
	room    dough.Room
	nights  []rise.Room
}

func newKitchen(rng *rand.Rand, m dough.Mechanism) *kitchen {
	kind := dough.RoomKinds[rng.IntN(len(dough.RoomKinds))]
	return &kitchen{rng: rng, mech: m, culture: dough.DrawCulture(rng), room: dough.DrawRoom(rng, kind)}
}

// night simulates the next night's dough and keeps the room's course.
func (k *kitchen) night() dough.Night {
	p := dough.Draw(k.rng, dough.Options{Mechanism: k.mech, Culture: &k.culture})
	shift := 0.5 * k.rng.NormFloat64()
	room := func(h float64) float64 { return k.room(h) + shift }
	n := dough.Simulate(p, room, dough.Span{Hours: 30, Every: 5 * time.Minute})
	seen := rise.Room{}
	for i := 0; i < len(n.Hours); i += 3 {
		at := evening.AddDate(0, 0, len(k.nights)).Add(time.Duration(n.Hours[i] * float64(time.Hour)))
		seen.Points = append(seen.Points, rise.RoomPoint{At: at, C: n.RoomC[i]})
	}
	k.nights = append(k.nights, seen)
	return n
}

// runOf is the run of a night's dough.
func runOf(p dough.Params, target float64) rise.Run {
	return rise.Run{
		Kind: rise.RunDough, Target: target, InoculationPct: rise.Known(p.InoculationPct),
		HydrationPct: rise.Known(p.HydrationPct), SaltPct: rise.Known(p.SaltPct),
	}
}

// summaryOf is what a station would remember of a night; its target is unknown if it was never reached.
func summaryOf(n dough.Night, target float64) rise.Summary {
	s := rise.Summary{Run: runOf(n.Params, target)}
	h, ok := n.TimeTo(target)
	if !ok {
		return s
	}
	s.TargetHours = rise.Known(h)
	sum, count := 0.0, 0.0
	for i := range n.Hours {
		if n.Hours[i] <= h {
			sum, count = sum+n.SampleC[i], count+1
		}
	}
	s.MeanC = rise.Known(sum / count)
	return s
}

// planned is one night that was planned after five others: how far the median was off, h, and whether the 80 %
// interval held it. It is false if the dough never got to its target.
func planned(rng *rand.Rand, m dough.Mechanism) (offH float64, within, ok bool) {
	const target = 1.8
	k := newKitchen(rng, m)
	var past []rise.Summary
	for range 5 {
		past = append(past, summaryOf(k.night(), target))
	}
	mix := evening.AddDate(0, 0, len(k.nights))
	room, err := rise.RoomOfNights(k.nights, mix, 28)
	if err != nil {
		panic(err)
	}
	n := k.night()
	truth, ok := n.TimeTo(target)
	if !ok {
		return 0, false, false
	}
	p, err := rise.PlanMix(rise.Ask{
		Now: mix, Target: target, InoculationPct: rise.Known(n.Params.InoculationPct),
		HydrationPct: rise.Known(n.Params.HydrationPct), SaltPct: rise.Known(n.Params.SaltPct),
		DoughC: rise.Known(n.Params.StartC), Room: room, TauH: 1, Speed: rise.SpeedOf(past, nil),
	})
	if err != nil {
		panic(err)
	}
	ready := mix.Add(time.Duration(truth * float64(time.Hour)))
	c := p.Choices[0]
	return ready.Sub(c.P50).Hours(), !ready.Before(c.P10) && !ready.After(c.P90), true
}
