package rise

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Rising is a dough on its way that is to be ready at another time than it will be. The words of the answer show times in
// the zone of Now and Ready.
type Rising struct {
	Now, Ready time.Time
	// Run tells its mix and its target. Multiple is where it is, Forecast when it is expected to be ready if it stays
	// at TempC °C, the sample's temperature now.
	Run      Run
	Multiple float64
	Forecast Forecast
	TempC    float64
	// Room is where it stands; without points it is steady at TempC. TauH is the time constant with which it follows
	// its air, h; 3 by default.
	Room Room
	TauH float64
	// FridgeC is the refrigerator's temperature, °C; 4 where unknown.
	FridgeC Num
}

// Check says why a dough cannot be replanned; nil if it can.
func (r Rising) Check() error {
	switch {
	case !r.Ready.After(r.Now):
		return fmt.Errorf("%s is in the past: give a time to come", clockTime(r.Ready))
	case !(r.TempC > -5 && r.TempC < 50):
		return errors.New("the sample's temperature is not known: give the room's")
	case r.Forecast.P50.IsZero() && r.Forecast.Reason != "":
		return fmt.Errorf("there is no forecast to plan by: %s", r.Forecast.Reason)
	case r.Forecast.P50.IsZero():
		return errors.New("there is no forecast to plan by yet: ask again when it has begun to rise")
	case r.Multiple >= r.Run.Target:
		return errors.New("it is at its target already: take it, or chill it at once")
	case SourdoughYeast().Rate(r.TempC) == 0:
		return fmt.Errorf("nothing grows at %.0f °C: warm it first", r.TempC)
	}
	if len(r.Room.Points) == 0 {
		return nil
	}
	return r.Room.Check()
}

// rest holds what is still to grow, in hours at 25 °C.
type rest struct{ p10, p50, p90 float64 }

// Replan answers what to do with a rising dough so that it is ready at another time: leave it, keep it warmer or
// cooler, chill it on the way, or take it early.
func Replan(r Rising) (Plan, error) {
	if err := r.Check(); err != nil {
		return Plan{}, err
	}
	r.TauH = orDefault(r.TauH, 3)
	if len(r.Room.Points) == 0 {
		r.Room = Room{Points: []RoomPoint{{C: r.TempC}}, U: defaultRoomU}
	}
	left, s := r.rest(), stand{r.Now, r.TempC, r.TauH, r.Room}
	stay := r.choice("as it stands", s, left, "leave it where it is")
	p := Plan{Basis: "this dough's own forecast"}
	const close = 15 * time.Minute
	if d := stay.P50.Sub(r.Ready); !stay.P50.IsZero() && d.Abs() <= close {
		p.Met, p.Choices = true, []Choice{stay}
		return p, nil
	}
	if c, ok := r.move(s, left); ok {
		p.Met, p.Choices = true, append(p.Choices, c)
	}
	if c, ok := r.chill(s, left); ok {
		p.Met, p.Choices = true, append(p.Choices, c)
	}
	if stay.P50.IsZero() || stay.P50.After(r.Ready) {
		p.Choices = append(p.Choices, r.early(s, left))
	}
	p.Choices = append(p.Choices, stay)
	if !p.Met {
		p.Why = r.why(s, left)
	}
	return p, nil
}

func (r Rising) rest() rest {
	yeast := SourdoughYeast()
	pace := yeast.Rate(r.TempC) / yeast.Rate(referenceC)
	thermal := func(t time.Time) float64 {
		if t.IsZero() {
			return math.Inf(1)
		}
		return max(0, t.Sub(r.Now).Hours()*pace)
	}
	return rest{thermal(r.Forecast.P10), thermal(r.Forecast.P50), thermal(r.Forecast.P90)}
}

func (r Rising) choice(what string, s stand, left rest, do string) Choice {
	c := Choice{What: what, InoculationPct: r.Run.InoculationPct.Or(0), DoughC: r.TempC, Mix: r.Run.Started.Wall}
	c.P10, c.P50, c.P90 = s.when(left.p10), s.when(left.p50), s.when(left.p90)
	if c.P50.IsZero() {
		c.Text = do + ": not ready within three days"
		return c
	}
	c.Text = fmt.Sprintf("%s: ready %s", do, span3(c))
	return c
}

// move keeps the dough at another temperature from now on.
func (r Rising) move(s stand, left rest) (Choice, bool) {
	air, ok := s.airFor(left.p50, r.Ready)
	if !ok {
		return Choice{}, false
	}
	s.room = Room{Points: []RoomPoint{{C: air}}, U: boxU}
	// The further it is moved, the less is known of this yeast's pace there.
	wider := math.Exp(z80 * lawU(air, r.TempC, 1, 1))
	left.p10, left.p90 = left.p10/wider, left.p90*wider
	what := "warmer"
	if air < r.TempC {
		what = "cooler"
	}
	c := r.choice(what, s, left, fmt.Sprintf("move it to %.0f °C now", air))
	c.AirC = Known(air)
	return c, true
}

// chill puts the dough into the refrigerator on the way.
func (r Rising) chill(s stand, left rest) (Choice, bool) {
	fridge := r.FridgeC.Or(4)
	at, ok := s.chillAt(left.p50, r.Ready, fridge)
	if !ok || r.Ready.Sub(at) < 2*time.Hour {
		return Choice{}, false
	}
	grown, _ := s.grown(at)
	multiple := r.multipleAfter(grown, left.p50)
	share := grown / left.p50
	c := r.choice("retard", s, rest{share * left.p10, grown, share * left.p90}, "")
	c.ChillAt, c.ChillMultiple = at, Known(multiple)
	c.Text = fmt.Sprintf("into the refrigerator at ×%.2f, %s; it comes to its target in the cold and keeps until %s", multiple, span3(c), clockTime(r.Ready))
	return c, true
}

// early takes the dough at the wanted time, short of its target.
func (r Rising) early(s stand, left rest) Choice {
	grown, _ := s.grown(r.Ready)
	likely, least := r.multipleAfter(grown, left.p50), r.multipleAfter(grown, left.p90)
	return Choice{
		What: "early", InoculationPct: r.Run.InoculationPct.Or(0), DoughC: r.TempC, Mix: r.Run.Started.Wall, P50: r.Ready,
		Text: fmt.Sprintf("take it at %s at about ×%.2f (×%.2f at the least), and let it rise longer after shaping", clockTime(r.Ready), likely, least),
	}
}

// multipleAfter is the multiple after grown hours at 25 °C of the left hours that the target takes: on the usual
// culture's curve through where it is and the target.
func (r Rising) multipleAfter(grown, left float64) float64 {
	m, ok := mixOf(r.Run)
	if !ok {
		m = mix{15, usualHydration, usualSalt}
	}
	from, to := m.thermal(max(1.001, r.Multiple)), m.thermal(r.Run.Target)
	if !(left > 0) || math.IsInf(left, 1) {
		return max(1, r.Multiple)
	}
	return max(r.Multiple, m.multiple(from+(to-from)*min(1, grown/left)))
}

func (r Rising) why(s stand, left rest) string {
	s.room = Room{Points: []RoomPoint{{C: warmestDough}}}
	if soonest := s.when(left.p50); soonest.After(r.Ready) {
		return fmt.Sprintf("%s cannot be met: even at %.0f °C it is ready about %s.", clockTime(r.Ready), warmestDough, clockTime(soonest))
	}
	return fmt.Sprintf("%s cannot be met: chilled at once it would still be past its target by then.", clockTime(r.Ready))
}
