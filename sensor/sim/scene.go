package sim

import "time"

// Target is what a ranger looks at in one moment.
type Target struct {
	// DistanceMM is the distance from the ranger to the surface, mm; what the chip reports on the whole, walls and all.
	DistanceMM float64
	// Reflect is how much of the light comes back: 1 for a white card that fills the view, 0.2 for a grey one.
	Reflect float64
	// AmbientMcps is the rate of stray light, 10⁶ counts a second: 0.1 in a dim kitchen, 5 and more under a lamp.
	AmbientMcps float64
	// CrosstalkMcps is the rate of light thrown back from a window or from fog right at the chip, 10⁶ counts a second over
	// all the chip's receivers. It pulls the range towards zero.
	CrosstalkMcps float64
	// None tells that there is nothing in view; then DistanceMM and Reflect mean nothing.
	None bool
}

// Scene is the world as one chip sees it. It must be safe for concurrent use and give the same answer for the same
// moment.
type Scene interface {
	// Target is what is in view at a time since boot.
	Target(at time.Duration) Target
	// ChipC is the temperature of the chip at a time since boot, °C.
	ChipC(at time.Duration) float64
}

// Fixed is a Scene that never changes.
type Fixed struct {
	View Target
	// C is the temperature of the chip, °C.
	C float64
}

// Card is a still white card at a distance in mm, in a dim room of 23 °C.
func Card(mm float64) Fixed {
	return Fixed{View: Target{DistanceMM: mm, Reflect: 1, AmbientMcps: 0.1}, C: 23}
}

// Target implements Scene.
func (f Fixed) Target(time.Duration) Target { return f.View }

// ChipC implements Scene.
func (f Fixed) ChipC(time.Duration) float64 { return f.C }

// Moving is a Scene made of a function of time. A nil Temperature is a steady 23 °C.
type Moving struct {
	View        func(at time.Duration) Target
	Temperature func(at time.Duration) float64
}

// Target implements Scene.
func (m Moving) Target(at time.Duration) Target { return m.View(at) }

// ChipC implements Scene.
func (m Moving) ChipC(at time.Duration) float64 {
	if m.Temperature == nil {
		return 23
	}
	return m.Temperature(at)
}

var (
	_ Scene = Fixed{}
	_ Scene = Moving{}
)
