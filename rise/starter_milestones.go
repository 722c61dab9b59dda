package rise

import (
	"math"
	"slices"
)

// Curve is a run's rise, for what it tells once it is over. Entries that are not finite, or whose time does not rise, are
// left out.
type Curve struct {
	// Hours since the start of the run, and the Multiple then.
	Hours, Multiple []float64
	// TempC is the temperature of the sample, °C; nil or unknown entries take the last one known.
	TempC []Num
}

// Milestones are what a run's curve tells of the culture, each part unknown where the curve does not show it.
type Milestones struct {
	// LagH is where the steepest tangent meets the base, DoubleH the time to ×2, h.
	LagH    Num `json:"lag_h,omitzero"`
	DoubleH Num `json:"double_h,omitzero"`
	// TopMultiple is the highest multiple seen. PeakH is the time to it, unknown if the run ended while still rising.
	TopMultiple Num `json:"top_multiple,omitzero"`
	PeakH       Num `json:"peak_h,omitzero"`
	// HoldH is how long it stayed above nine tenths of its rise, unknown unless it was seen to fall below.
	HoldH Num `json:"hold_h,omitzero"`
	// MeanC is the mean temperature until the peak or the end, °C.
	MeanC Num `json:"mean_c,omitzero"`
	// ThermalH holds the times to the multiples of MilestoneLevels in hours at 25 °C.
	ThermalH [len(MilestoneLevels)]Num `json:"thermal_h"`
}

// MilestoneLevels are the multiples whose times are kept.
var MilestoneLevels = [...]float64{1.25, 1.5, 1.75, 2}

// NearShare is the share of the rise above which a starter counts as near its peak.
const NearShare = 0.9

// bins is a curve in means over a few minutes.
type curveBins struct {
	hours, multiple, thermal, temp []float64
}

const curveBinH = 5.0 / 60

// thin takes the median of each few minutes, and runs thermal time beside it.
func (c Curve) thin() curveBins {
	var out curveBins
	var scratch []float64
	p := Progress{Hours: c.Hours, Multiple: c.Multiple, TempC: c.TempC}
	yeast, temp := SourdoughYeast(), firstTemp(p)
	at, thermal, end := 0.0, 0.0, curveBinH
	flush := func() {
		if len(scratch) > 0 {
			slices.Sort(scratch)
			out.hours, out.thermal, out.temp = append(out.hours, at), append(out.thermal, thermal), append(out.temp, temp)
			out.multiple = append(out.multiple, (scratch[(len(scratch)-1)/2]+scratch[len(scratch)/2])/2)
			scratch = scratch[:0]
		}
	}
	for i := range c.Hours {
		h, m := p.entry(i)
		if !(h >= at) || math.IsNaN(m) {
			continue
		}
		if h >= end {
			flush()
			end = h - math.Mod(h, curveBinH) + curveBinH
		}
		before := temp
		if v, ok := p.temp(i); ok {
			temp = v
		}
		thermal += (h - at) * (yeast.Rate(before) + yeast.Rate(temp)) / 2 / yeast.Rate(referenceC)
		at = h
		scratch = append(scratch, m)
	}
	flush()
	return out.centred()
}

// centred moves each bin's time from its last reading to its middle.
func (b curveBins) centred() curveBins {
	for i := len(b.hours) - 1; i > 0; i-- {
		if gap := b.hours[i] - b.hours[i-1]; gap < 1.5*curveBinH {
			b.thermal[i] -= (b.thermal[i] - b.thermal[i-1]) / 2
			b.hours[i] -= gap / 2
		}
	}
	return b
}

// Milestones reads the curve. It is zero for a curve too short to tell.
func (c Curve) Milestones() Milestones {
	b := c.thin()
	if len(b.hours) < 6 {
		return Milestones{}
	}
	b.smooth()
	var s Milestones
	top := 0
	for i, m := range b.multiple {
		if m > b.multiple[top] {
			top = i
		}
	}
	s.TopMultiple = Known(b.multiple[top])
	s.peak(b, top)
	s.LagH = b.lag(top)
	s.MeanC = b.mean(top, len(c.TempC) > 0)
	for j, level := range MilestoneLevels {
		if i, share, ok := b.crossing(level); ok {
			s.ThermalH[j] = Known(b.thermal[i-1] + share*(b.thermal[i]-b.thermal[i-1]))
			s.DoubleH = Known(b.hours[i-1] + share*(b.hours[i]-b.hours[i-1]))
		}
	}
	if !s.ThermalH[len(MilestoneLevels)-1].IsKnown() {
		s.DoubleH = Num{}
	}
	return s
}

// smooth takes the mean of three neighbours.
func (b *curveBins) smooth() {
	raw := slices.Clone(b.multiple)
	for i := 1; i+1 < len(raw); i++ {
		b.multiple[i] = (raw[i-1] + raw[i] + raw[i+1]) / 3
	}
}

// peak fills in PeakH and HoldH. The peak is past when the last half hour rose by less than a hundredth of the rise, or
// the end is lower than the top by 3 % of it.
func (s *Milestones) peak(b curveBins, top int) {
	n := len(b.hours) - 1
	rise := b.multiple[top] - 1
	if rise < 0.05 {
		return
	}
	fallen := b.multiple[top]-b.multiple[n] > 0.03*rise
	if !fallen && b.hours[n]-b.hours[top] < 0.5 {
		return
	}
	s.PeakH = Known(b.hours[top])
	near := 1 + NearShare*rise
	from, to := top, top
	for from > 0 && b.multiple[from-1] >= near {
		from--
	}
	for to < n && b.multiple[to+1] >= near {
		to++
	}
	if to < n {
		s.HoldH = Known(b.hours[to] - b.hours[from])
	}
}

// lag is where the steepest line through three quarters of an hour, before the top, meets the base.
func (b curveBins) lag(top int) Num {
	const span = 9
	best, lag := 0.0, Num{}
	for i := 0; i+span <= top+1; i++ {
		slope, mid, level := line(b.hours[i:i+span], b.multiple[i:i+span])
		if slope > best {
			best, lag = slope, Known(max(0, mid-(level-1)/slope))
		}
	}
	if best < 0.01 {
		return Num{}
	}
	return lag
}

// line fits a straight line: its slope, and the mean point it runs through.
func line(x, y []float64) (slope, meanX, meanY float64) {
	n := float64(len(x))
	for i := range x {
		meanX, meanY = meanX+x[i]/n, meanY+y[i]/n
	}
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - meanX) * (x[i] - meanX)
		sxy += (x[i] - meanX) * (y[i] - meanY)
	}
	return sxy / sxx, meanX, meanY
}

// mean is the mean temperature up to bin top.
func (b curveBins) mean(top int, known bool) Num {
	if !known || b.hours[top] <= 0 {
		return Num{}
	}
	sum, last := 0.0, 0.0
	for i := range top + 1 {
		sum += b.temp[i] * (b.hours[i] - last)
		last = b.hours[i]
	}
	return Known(sum / b.hours[top])
}

// crossing is the first bin at or above a level, and how far between it and the one before the level lies.
func (b curveBins) crossing(level float64) (i int, share float64, ok bool) {
	for i := 1; i < len(b.multiple); i++ {
		if lo, hi := b.multiple[i-1], b.multiple[i]; lo < level && hi >= level {
			return i, (level - lo) / (hi - lo), true
		}
	}
	return 0, 0, false
}
