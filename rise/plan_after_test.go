package rise_test

import (
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func straightIn() rise.After {
	return rise.After{DoughC: 24, RoomC: 22, ColdH: 14, ColdC: 4, Piece: rise.Piece{DoughKg: 0.9, VesselKg: 0.3}}
}

func TestStopEarlierForMoreThatComesAfter(t *testing.T) {
	run := rise.Run{Target: 2, InoculationPct: rise.Known(12)}
	stop := func(change func(*rise.After)) rise.Stop {
		a := straightIn()
		change(&a)
		s, err := rise.StopFor(run, rise.Speed{}, a)
		require.NoError(t, err)
		return s
	}
	cold := stop(func(*rise.After) {})
	assert.Greater(t, cold.Multiple.Or(0), 1.3)
	assert.Less(t, cold.Multiple.Or(9), 1.85)
	assert.Contains(t, cold.Text, "Stop at ×")
	proofed := stop(func(a *rise.After) { a.BenchH, a.ProofH, a.ProofC = 0.3, 0.5, 24 })
	assert.Less(t, proofed.Multiple.Or(9), cold.Multiple.Or(0))
	heavy := stop(func(a *rise.After) { a.Piece.DoughKg = 2.5 })
	assert.Less(t, heavy.Multiple.Or(9), cold.Multiple.Or(0))
	known := stop(func(a *rise.After) { a.TauH = rise.Known(0.5) })
	assert.Greater(t, known.Multiple.Or(0), cold.Multiple.Or(0))
	much := stop(func(a *rise.After) { a.ProofH, a.ProofC = 20, 26 })
	assert.False(t, much.Multiple.IsKnown())
	assert.Contains(t, much.Text, "more than the whole way")
}

// A simulated dough that goes into the cold at the multiple told has made there, when it is cold, as much gas as one
// that was left warm had made at its target, to a tenth. Its yeast has another law of temperature than the plan.
func TestStoppedDoughComesToItsTargetInTheCold(t *testing.T) {
	for _, m := range dough.Mechanisms {
		p := dough.Default()
		p.Mechanism, p.StartC = m, 24
		run := runOf(p, 1.8)
		a := straightIn()
		n := dough.Simulate(p, dough.Steady(24), dough.Span{Hours: 30})
		hours, _ := n.TimeTo(1.8)
		from, to, _ := rise.UsualRange(run, 24)
		speed := rise.UsualSpeed()
		speed.Ratio = (from + to) / 2 / hours
		stop, err := rise.StopFor(run, speed, a)
		require.NoError(t, err)
		tau, err := a.Piece.TauH()
		require.NoError(t, err)

		warm, chilled := dough.New(p), dough.New(p)
		for warm.Multiple() < 1.8 {
			warm.Step(time.Minute, 24)
		}
		for chilled.Multiple() < stop.Multiple.Or(9) {
			chilled.Step(time.Minute, 24)
		}
		body := dough.Body{C: 24, TauH: tau}
		for range 14 * 60 {
			body.Step(1.0/60, 4)
			chilled.Step(time.Minute, body.C)
		}
		assert.InEpsilon(t, warm.Balance().Made, chilled.Balance().Made, 0.1, m)
	}
}

func TestAftersThatCannotBe(t *testing.T) {
	for want, spoil := range map[string]func(*rise.After){
		"dough temperature of 75": func(a *rise.After) { a.DoughC = 75 },
		"proof of -1 h":           func(a *rise.After) { a.ProofH = -1 },
		"refrigerator of 39":      func(a *rise.After) { a.ColdC = 39 },
		"0 kg of dough":           func(a *rise.After) { a.Piece.DoughKg = 0 },
	} {
		a := straightIn()
		spoil(&a)
		_, err := a.FurtherHours()
		assert.ErrorContains(t, err, want)
	}
	_, err := rise.StopFor(rise.Run{Target: 2}, rise.Speed{}, straightIn())
	assert.ErrorContains(t, err, "inoculation")
}
