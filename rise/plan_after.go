package rise

import (
	"errors"
	"fmt"
)

// After is what becomes of a dough when its bulk ends. Hours may be 0.
type After struct {
	// DoughC is its temperature at the end of bulk, °C.
	DoughC float64 `json:"dough_c"`
	// RoomC is where it is divided and shaped, in BenchH hours.
	RoomC  float64 `json:"room_c"`
	BenchH float64 `json:"bench_h,omitempty"`
	// ProofH is a proof after shaping, at ProofC °C.
	ProofH float64 `json:"proof_h,omitempty"`
	ProofC float64 `json:"proof_c,omitempty"`
	// ColdH is the retard in the refrigerator at ColdC °C.
	ColdH float64 `json:"cold_h,omitempty"`
	ColdC float64 `json:"cold_c,omitempty"`
	// Piece is one shaped piece with what holds it. TauH, where known, replaces its time constant: CoolingTau of
	// earlier nights.
	Piece Piece `json:"piece"`
	TauH  Num   `json:"tau_h,omitzero"`
}

// Check says what is wrong; nil if nothing is.
func (a After) Check() error {
	var faults []error
	within := func(what string, v, lo, hi float64, unit string) {
		if !(v >= lo && v <= hi) {
			faults = append(faults, fmt.Errorf("%s of %g %s cannot be: it must be between %g and %g", what, v, unit, lo, hi))
		}
	}
	within("dough temperature", a.DoughC, 0, 45, "°C")
	within("room temperature", a.RoomC, -5, 50, "°C")
	within("bench rest", a.BenchH, 0, 12, "h")
	within("proof", a.ProofH, 0, 48, "h")
	within("retard", a.ColdH, 0, 120, "h")
	if a.ProofH > 0 {
		within("proof temperature", a.ProofC, 0, 50, "°C")
	}
	if a.ColdH > 0 {
		within("refrigerator", a.ColdC, -2, 15, "°C")
	}
	if !a.TauH.IsKnown() {
		faults = append(faults, a.Piece.Check())
	}
	return errors.Join(faults...)
}

// stages are those after bulk with the piece's time constant.
func (a After) stages() ([]Stage, error) {
	tau, ok := a.TauH.Get()
	if !ok {
		var err error
		if tau, err = a.Piece.TauH(); err != nil {
			return nil, err
		}
	}
	return []Stage{{a.BenchH, a.RoomC, tau}, {a.ProofH, a.ProofC, tau}, {a.ColdH, a.ColdC, tau}}, nil
}

// FurtherHours is the rise that is still to come after bulk, in hours at 25 °C.
func (a After) FurtherHours() (float64, error) {
	if err := a.Check(); err != nil {
		return 0, err
	}
	stages, err := a.stages()
	if err != nil {
		return 0, err
	}
	return FurtherHours(a.DoughC, stages), nil
}

// Stop is when to end bulk for what comes after it.
type Stop struct {
	// Multiple is where to stop; unknown where what comes after is too much for any bulk.
	Multiple Num `json:"multiple"`
	// FurtherH is the rise still to come after that, in hours at 25 °C.
	FurtherH float64 `json:"further_h"`
	Text     string  `json:"text"`
}

// leastStop is the multiple below which stopping is no bulk fermentation any more.
const leastStop = 1.15

// StopFor is the multiple at which to end the bulk of a dough that is to come to target in all, of a mix in % of all
// flour and a starter of a speed. What shaping knocks out of it comes back in the proof: growth counts, not gas.
func StopFor(run Run, speed Speed, a After) (Stop, error) {
	further, err := a.FurtherHours()
	if err != nil {
		return Stop{}, err
	}
	m, ok := mixOf(run)
	if !ok {
		return Stop{}, errors.New("the prefermented flour is not known: give the run its inoculation")
	}
	if !(run.Target > 1) {
		return Stop{}, fmt.Errorf("target ×%g cannot be: it must be above 1 (2.0 is doubled)", run.Target)
	}
	if speed.Ratio == 0 {
		speed = UsualSpeed()
	}
	at := m.multiple(m.thermal(run.Target) - further*speed.Ratio)
	out := Stop{FurtherH: further}
	if at < leastStop {
		out.Text = fmt.Sprintf("What comes after bulk is worth %.1f h at 25 °C: more than the whole way to ×%.2f. Shorten it, cool the dough first, or raise the target.", further, run.Target)
		return out, nil
	}
	out.Multiple = Known(at)
	out.Text = fmt.Sprintf("Stop at ×%.2f: what comes after is worth another %.1f h at 25 °C, which brings it to ×%.2f in all.", at, further, run.Target)
	return out, nil
}
