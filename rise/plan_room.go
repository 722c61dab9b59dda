package rise

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"
)

// RoomPoint is a room's temperature at a moment.
type RoomPoint struct {
	At time.Time `json:"at"`
	C  float64   `json:"c"`
}

// Room is how warm a room is expected to be: straight lines between its points, in the order of time, and its first and
// last temperature before and after them.
type Room struct {
	Points []RoomPoint `json:"points"`
	// U is the standard uncertainty of the whole, K.
	U float64 `json:"u"`
}

// defaultRoomU is how far a room is off what its owner says of it, K (common practice, no source).
const defaultRoomU = 0.7

// SteadyRoom is a room at c °C all the time, as its owner says.
func SteadyRoom(c float64) Room { return Room{Points: []RoomPoint{{C: c}}, U: defaultRoomU} }

// Check says what is wrong with a room; nil if nothing is.
func (r Room) Check() error {
	if len(r.Points) == 0 {
		return errors.New("the room's temperature is not known: give one in °C")
	}
	for i, p := range r.Points {
		if !(p.C >= -5 && p.C <= 50) {
			return fmt.Errorf("a room of %g °C cannot be: give its temperature in °C", p.C)
		}
		if i > 0 && p.At.Before(r.Points[i-1].At) {
			return errors.New("the room's points must be in the order of time")
		}
	}
	return nil
}

// At is the temperature expected at a time, °C.
func (r Room) At(t time.Time) float64 {
	i, found := slices.BinarySearchFunc(r.Points, t, func(p RoomPoint, t time.Time) int { return p.At.Compare(t) })
	switch {
	case found:
		return r.Points[i].C
	case i == 0:
		return r.Points[0].C
	case i == len(r.Points):
		return r.Points[i-1].C
	}
	a, b := r.Points[i-1], r.Points[i]
	share := t.Sub(a.At).Seconds() / b.At.Sub(a.At).Seconds()
	return a.C + share*(b.C-a.C)
}

// roomStep is the spacing of a room put together from nights.
const roomStep = 15 * time.Minute

// RoomOfNights is the room expected from a moment on for some hours: the mean of its earlier nights at the same time
// of day, each moved on by whole days. Its uncertainty is the spread of the nights' means, towards the usual one
// where there are few. It is an error if no night covers any of it.
func RoomOfNights(nights []Room, from time.Time, hours float64) (Room, error) {
	var moved []Room
	for _, n := range nights {
		if m, ok := n.movedTo(from); ok {
			moved = append(moved, m)
		}
	}
	var out Room
	sums := make([]float64, len(moved))
	counts := make([]float64, len(moved))
	for at := from; at.Before(from.Add(time.Duration(hours * float64(time.Hour)))); at = at.Add(roomStep) {
		sum, n := 0.0, 0.0
		for i, m := range moved {
			if m.covers(at) {
				c := m.At(at)
				sum, n = sum+c, n+1
				sums[i], counts[i] = sums[i]+c, counts[i]+1
			}
		}
		if n > 0 {
			out.Points = append(out.Points, RoomPoint{at, sum / n})
		}
	}
	if len(out.Points) == 0 {
		return Room{}, errors.New("no earlier night tells how warm the room will be: give its temperature")
	}
	out.U = nightSpread(sums, counts)
	return out, nil
}

// movedTo is the room moved by whole days so that it begins within the day before or after a moment, nearest to it.
func (r Room) movedTo(t time.Time) (Room, bool) {
	if len(r.Points) < 2 {
		return Room{}, false
	}
	days := math.Round(t.Sub(r.Points[0].At).Hours() / 24)
	out := Room{Points: slices.Clone(r.Points)}
	for i := range out.Points {
		out.Points[i].At = out.Points[i].At.Add(time.Duration(days) * 24 * time.Hour)
	}
	return out, true
}

func (r Room) covers(t time.Time) bool {
	return !t.Before(r.Points[0].At) && !t.After(r.Points[len(r.Points)-1].At)
}

// nightSpread is the standard deviation of the nights' means and of a new night's from theirs, with the usual one
// counted as four nights.
func nightSpread(sums, counts []float64) float64 {
	var means []float64
	for i, s := range sums {
		if counts[i] > 0 {
			means = append(means, s/counts[i])
		}
	}
	mean, squares := 0.0, 0.0
	for _, m := range means {
		mean += m / float64(len(means))
	}
	for _, m := range means {
		squares += (m - mean) * (m - mean)
	}
	const usual = 4
	n := float64(len(means))
	return math.Sqrt((usual*defaultRoomU*defaultRoomU + squares) / (usual + n - 1) * (1 + 1/n))
}

// NightRoom is the course of a room over some readings in the order of time, one point each quarter of an hour: by
// the room's probe, or by the sample's where there is none, which follows the room within an hour or so. Readings
// without time or temperature are left out.
func NightRoom(readings []Reading) Room {
	r := Room{U: defaultRoomU}
	sum, n := 0.0, 0.0
	var slot time.Time
	flush := func() {
		if n > 0 {
			r.Points = append(r.Points, RoomPoint{slot.Add(roomStep / 2), sum / n})
		}
		sum, n = 0, 0
	}
	for _, reading := range readings {
		c, ok := reading.RoomC.Get()
		if !ok {
			c, ok = reading.JarC.Get()
		}
		if !ok || reading.Time.IsZero() || c < -5 || c > 50 || reading.Time.Before(slot) {
			continue
		}
		if at := reading.Time.Truncate(roomStep); at.After(slot) {
			flush()
			slot = at
		}
		sum, n = sum+c, n+1
	}
	flush()
	return r
}
