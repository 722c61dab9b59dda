package rise

import "time"

// Status is what a ranger says of one single range, in the one set that all chips are decoded to.
type Status uint8

// The statuses. Their order is part of the stored format: add at the end only.
const (
	// StatusGood is a range that may be used.
	StatusGood Status = iota
	// StatusWeak is too little signal: no target, or one too dark, or light from the window only.
	StatusWeak
	// StatusNoisy is a range whose own estimate of spread is beyond the limit.
	StatusNoisy
	// StatusWrapped is a target so far away that its distance is ambiguous, or a phase out of bounds.
	StatusWrapped
	// StatusTooNear is a target nearer than the chip can measure.
	StatusTooNear
	// StatusHardware is a fault of the chip itself: laser, supply, calibration.
	StatusHardware
	// StatusOther is no range for any other reason: start-up, no update, a wrong configuration.
	StatusOther
	// StatusCount is the number of statuses.
	StatusCount = iota
)

var statusNames = [StatusCount]string{"good", "weak signal", "noisy", "wrapped", "too near", "hardware", "other"}

// String is the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusNames) {
		return statusNames[s]
	}
	return "other"
}

// Sample is one single range of a burst.
type Sample struct {
	// RangeMM is the distance in mm; it means nothing unless Status is StatusGood.
	RangeMM float64
	Status  Status
	// SignalMcps and AmbientMcps are the rates of returned and of stray photons, 10⁶ counts a second; SigmaMM is the
	// chip's own estimate of the range's standard deviation, mm. Unknown where the chip does not tell.
	SignalMcps, AmbientMcps, SigmaMM Num
}

// Burst is the summary of one tick's ranges.
type Burst struct {
	// RangeMM is the mean of the ranges kept, mm; unknown if none was good.
	RangeMM Num `json:"range_mm,omitzero"`
	// SpreadMM is the standard deviation of the ranges kept, mm; unknown with fewer than two.
	SpreadMM Num `json:"spread_mm,omitzero"`
	// Valid counts the ranges kept, Of the ranges asked for.
	Valid int `json:"valid"`
	Of    int `json:"of"`
	// Statuses counts the ranges by status, good ones that were rejected as outliers included.
	Statuses [StatusCount]uint16 `json:"statuses"`
	// SignalMcps, AmbientMcps and SigmaMM are means over the good ranges, or over all if none was good.
	SignalMcps  Num `json:"signal,omitzero"`
	AmbientMcps Num `json:"ambient,omitzero"`
	SigmaMM     Num `json:"sigma_mm,omitzero"`
}

// Fault is why a tick has no usable range. The zero value is none.
type Fault string

// The faults of a tick.
const (
	FaultNone Fault = ""
	// FaultBus: the bus itself did not answer or could not be opened.
	FaultBus Fault = "bus"
	// FaultAbsent: nothing answers at the ranger's address.
	FaultAbsent Fault = "absent"
	// FaultIdentity: another chip than the configured one answers.
	FaultIdentity Fault = "identity"
	// FaultTimeout: the ranger answers but has no range ready in time.
	FaultTimeout Fault = "timeout"
	// FaultHardware: the ranger reports a fault of its own.
	FaultHardware Fault = "hardware"
	// FaultStuck: the ranger repeats itself bit for bit.
	FaultStuck Fault = "stuck"
	// FaultView: the ranger works but sees no target it can range: fog, dirt, nothing there, too near.
	FaultView Fault = "view"
)

// Reading is one tick of a station: raw, stored good or bad, never changed.
type Reading struct {
	// Stamp is when the tick began. Time is that moment as wall time, UTC, derived from Stamp by a Timeline; Quality says
	// how far to believe it. Time and Quality are not stored.
	Stamp
	Time    time.Time   `json:"time"`
	Quality TimeQuality `json:"time_quality,omitempty"`
	Burst
	// LevelMM is set only in readings from a recording that gives levels instead of ranges.
	LevelMM Num `json:"level_mm,omitzero"`
	// JarC, DoughC and RoomC are the probes' temperatures, °C; RoomRH is the relative humidity, %.
	JarC   Num `json:"jar_c,omitzero"`
	DoughC Num `json:"dough_c,omitzero"`
	RoomC  Num `json:"room_c,omitzero"`
	RoomRH Num `json:"room_rh,omitzero"`
	// Fault is why there is no range, if there is none.
	Fault Fault `json:"fault,omitempty"`
}

// TempC is the temperature of the sample as best known, °C: the jar probe's, else the dough's, else the room's.
func (r Reading) TempC() Num {
	for _, c := range []Num{r.JarC, r.DoughC, r.RoomC} {
		if c.IsKnown() {
			return c
		}
	}
	return Num{}
}
