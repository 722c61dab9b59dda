package replay

import (
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// Summary is the last line of a replayed recording.
type Summary struct {
	File     string `json:"file"`
	Readings int    `json:"readings"`
	// BaseMM is the base level at the end, with its standard uncertainty.
	BaseMM  rise.Num `json:"base_mm"`
	UBaseMM rise.Num `json:"u_base_mm"`
	Target  float64  `json:"target"`
	// TargetTime is when the multiple first reached the target, TargetH how long after the start, h: by a straight line
	// between the two readings about it.
	TargetTime *time.Time `json:"target_time"`
	TargetH    rise.Num   `json:"target_h"`
	// PeakMultiple is the highest multiple, PeakTime when.
	PeakMultiple rise.Num   `json:"peak_multiple"`
	PeakTime     *time.Time `json:"peak_time"`
	// EndMultiple is the last one.
	EndMultiple rise.Num `json:"end_multiple"`
	// Forecasts are those that stood when 25, 50 and 75 % of the rise were first reached.
	Forecasts []Forecast `json:"forecasts"`
}

// Forecast is a forecast as it stood at a share of the rise.
type Forecast struct {
	// Progress is the share of the rise: the multiple is 1 + Progress·(target − 1).
	Progress float64    `json:"progress"`
	Time     time.Time  `json:"time"`
	ETAP10   *time.Time `json:"eta_p10"`
	ETAP50   *time.Time `json:"eta_p50"`
	ETAP90   *time.Time `json:"eta_p90"`
	Reason   *string    `json:"reason"`
}

// shares of the rise at which forecasts are kept.
var shares = []float64{0.25, 0.5, 0.75}

// summing gathers a Summary along the estimates.
type summing struct {
	s       Summary
	started rise.Moment
	last    rise.Estimate // the last one with a multiple
}

func (s *summing) begin(file string, c rise.Case) {
	s.s = Summary{File: file, Target: c.Run.Target, Forecasts: []Forecast{}}
	s.started = c.Run.Started
}

func (s *summing) add(e rise.Estimate) {
	s.s.Readings++
	s.s.BaseMM, s.s.UBaseMM = e.BaseMM, e.UBaseMM
	m, ok := e.Multiple.Get()
	if !ok {
		return
	}
	s.s.EndMultiple = e.Multiple
	if top, any := s.s.PeakMultiple.Get(); !any || m > top {
		s.s.PeakMultiple, s.s.PeakTime = e.Multiple, &e.Time
	}
	if s.s.TargetTime == nil && m >= s.s.Target {
		at := s.crossing(e, m)
		s.s.TargetTime, s.s.TargetH = &at, rise.Known(at.Sub(s.started.Wall).Hours())
	}
	for len(s.s.Forecasts) < len(shares) && m >= 1+shares[len(s.s.Forecasts)]*(s.s.Target-1) {
		s.keep(shares[len(s.s.Forecasts)], e)
	}
	s.last = e
}

// crossing is when the straight line from the multiple before reaches the target.
func (s *summing) crossing(e rise.Estimate, m float64) time.Time {
	before, ok := s.last.Multiple.Get()
	if !ok || before >= s.s.Target {
		return e.Time
	}
	share := (s.s.Target - before) / (m - before)
	return s.last.Time.Add(time.Duration(share * float64(e.Time.Sub(s.last.Time)))).Round(time.Second)
}

func (s *summing) keep(share float64, e rise.Estimate) {
	p := api.NewPoint(e)
	s.s.Forecasts = append(s.s.Forecasts, Forecast{share, e.Time, p.ETAP10, p.ETAP50, p.ETAP90, p.Reason})
}

func (s *summing) summary() Summary { return s.s }
