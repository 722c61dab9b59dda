package calibrate

import (
	"context"
	"fmt"
	"time"

	"nightjar/rise"
)

// patience is how many bursts a target is looked at, at most, once it was looked at for as long as was asked.
const patience = 120

// Eye looks at a target that stands still.
type Eye struct {
	// Burst takes one burst.
	Burst func(context.Context) (rise.Burst, error)
	// WantMM is the standard uncertainty to reach, mm.
	WantMM float64
	// Least is the shortest time to look; Now tells the time.
	Least time.Duration
	Now   func() time.Time
	// Say shows how far it has come; it is called after every burst.
	Say func(rise.Averaged)
}

// unsteadyError is a target that cannot be used.
type unsteadyError struct{ why string }

func (e *unsteadyError) Error() string { return e.why }

// Look averages bursts until the wanted uncertainty is reached.
func (e Eye) Look(ctx context.Context) (rise.Averaged, error) {
	var a rise.Average
	begun, blind := e.Now(), 0
	for n := 1; n <= patience || e.Now().Sub(begun) < e.Least; n++ {
		b, err := e.Burst(ctx)
		if err != nil {
			return rise.Averaged{}, err
		}
		if !a.Add(b) {
			if blind++; blind > 10 {
				return a.State(), &unsteadyError{"the sensor sees nothing it can range: is the card under it, is the window clean?"}
			}
			continue
		}
		state := a.State()
		if e.Say != nil {
			e.Say(state)
		}
		if a.Done(e.WantMM) && e.Now().Sub(begun) >= e.Least {
			return state, nil
		}
	}
	state := a.State()
	if state.Problem == "" {
		state.Problem = fmt.Sprintf("the range is known to ±%.2f mm only after %d bursts: set the card level and out of the light", 2*state.UMM, patience)
	}
	return state, &unsteadyError{state.Problem}
}
