package dough

import "time"

// Night is a whole night of one dough, one entry a tick. The first is the moment of mixing.
type Night struct {
	Params Params
	// Every is the time between two ticks.
	Every time.Duration
	// Hours since mixing; Multiple is the truth; LevelMM the mean level; SurfaceMM what a ranger above the middle looks at.
	Hours, Multiple, LevelMM, SurfaceMM []float64
	// SampleC, MainC and RoomC are the temperatures of the sample, the main dough and the room, °C.
	SampleC, MainC, RoomC []float64
	// MainMultiple is the main dough's own multiple; nil unless asked for.
	MainMultiple []float64
}

// Span says how long and how finely to simulate. The zero value is 24 h at 30 s without the main dough.
type Span struct {
	Hours float64
	Every time.Duration
	// Main asks for the main dough's own multiple as well.
	Main bool
}

// Simulate runs a dough through a night in a room.
func Simulate(p Params, room Room, s Span) Night {
	if s.Hours == 0 {
		s.Hours = 24
	}
	if s.Every == 0 {
		s.Every = 30 * time.Second
	}
	n := int(s.Hours/s.Every.Hours()+0.5) + 1
	night := Night{Params: p, Every: s.Every}
	for _, col := range night.columns(s.Main) {
		*col = make([]float64, n)
	}
	night.fill(room, s.Main)
	return night
}

func (n *Night) columns(main bool) []*[]float64 {
	cols := []*[]float64{&n.Hours, &n.Multiple, &n.LevelMM, &n.SurfaceMM, &n.SampleC, &n.MainC, &n.RoomC}
	if main {
		cols = append(cols, &n.MainMultiple)
	}
	return cols
}

func (n *Night) fill(room Room, main bool) {
	d, m := New(n.Params), New(n.Params)
	sample, bulk := Body{n.Params.StartC, n.Params.SampleH}, Body{n.Params.StartC, n.Params.MainH}
	for i := range n.Hours {
		h := float64(i) * n.Every.Hours()
		c := room(h)
		if i > 0 {
			sample.Step(n.Every.Hours(), c)
			bulk.Step(n.Every.Hours(), c)
			d.Step(n.Every, sample.C)
			if main {
				m.Step(n.Every, bulk.C)
			}
		}
		n.Hours[i], n.Multiple[i], n.LevelMM[i], n.SurfaceMM[i] = h, d.Multiple(), d.LevelMM(), d.SurfaceMM()
		n.SampleC[i], n.MainC[i], n.RoomC[i] = sample.C, bulk.C, c
		if main {
			n.MainMultiple[i] = m.Multiple()
		}
	}
}

// TimeTo is when the true multiple first reaches target, h, interpolated; false if it never does.
func (n Night) TimeTo(target float64) (float64, bool) {
	return firstCrossing(n.Hours, n.Multiple, target)
}

// MainTimeTo is TimeTo of the main dough.
func (n Night) MainTimeTo(target float64) (float64, bool) {
	return firstCrossing(n.Hours, n.MainMultiple, target)
}

func firstCrossing(hours, multiple []float64, target float64) (float64, bool) {
	for i, m := range multiple {
		if m < target {
			continue
		}
		if i == 0 {
			return hours[0], true
		}
		share := (target - multiple[i-1]) / (m - multiple[i-1])
		return hours[i-1] + share*(hours[i]-hours[i-1]), true
	}
	return 0, false
}

// Peak is the highest true multiple and when it comes, h.
func (n Night) Peak() (multiple, hours float64) {
	for i, m := range n.Multiple {
		if m > multiple {
			multiple, hours = m, n.Hours[i]
		}
	}
	return multiple, hours
}
