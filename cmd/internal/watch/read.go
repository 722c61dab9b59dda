package watch

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/physic"

	"nightjar/rise"
	"nightjar/sensor"
)

// read takes a burst and the temperatures. The error, if any, is already told by the reading's fault.
func (s *station) read(ctx context.Context) (rise.Reading, error) {
	r := rise.Reading{Stamp: rise.Stamp{Boot: s.w.o.Store.Boot(), At: s.w.o.Clock.Boot()}}
	b, err := s.burst(ctx, s.Ranges)
	r.Burst = b
	r.Of = max(r.Of, s.Ranges)
	switch {
	case err != nil:
		r.Fault = sensor.Fault(err)
	case b.Valid == 0:
		r.Fault = rise.FaultView
	}
	r.JarC = s.temperature(ctx, "jar", s.Jar)
	r.DoughC = s.temperature(ctx, "dough", s.Dough)
	r.RoomC = s.temperature(ctx, "room", s.Room)
	r.RoomRH = s.humidity(ctx)
	s.warm(r)
	return r, err
}

// burst takes a burst when nobody else takes one.
func (s *station) burst(ctx context.Context, n int) (rise.Burst, error) {
	s.ranging.Lock()
	defer s.ranging.Unlock()
	return s.Ranger.Range(ctx, n)
}

// Burst takes a burst of n ranges with a station's ranger, between its ticks, for whoever calibrates a jar. Its error is
// the ranger's.
func (w *Watch) Burst(ctx context.Context, name string, n int) (rise.Burst, error) {
	s := w.byName[name]
	if s == nil {
		return rise.Burst{}, fmt.Errorf("there is no station %q", name)
	}
	return s.burst(ctx, n)
}

func (s *station) temperature(ctx context.Context, place string, t sensor.Thermometer) rise.Num {
	if t == nil {
		return rise.Num{}
	}
	c, err := t.Temperature(ctx)
	if s.probeTrouble(ctx, place, t, err) {
		return rise.Num{}
	}
	return rise.Known(c.Celsius())
}

// warm tells the ranger how warm it is at the chip, by the room's probe or else the jar's, for its next burst.
func (s *station) warm(r rise.Reading) {
	t, ok := s.Ranger.(sensor.TemperatureAware)
	if !ok {
		return
	}
	for _, c := range []rise.Num{r.RoomC, r.JarC} {
		if v, known := c.Get(); known {
			t.SetTemperature(physic.ZeroCelsius + physic.Temperature(v*float64(physic.Kelvin)))
			return
		}
	}
}

func (s *station) humidity(ctx context.Context) rise.Num {
	if s.Humidity == nil {
		return rise.Num{}
	}
	h, err := s.Humidity.Humidity(ctx)
	if s.probeTrouble(ctx, "humidity", s.Humidity, err) {
		return rise.Num{}
	}
	return rise.Known(float64(h) / float64(physic.PercentRH))
}

// probeTrouble keeps the health condition of a probe and logs a change of it.
func (s *station) probeTrouble(ctx context.Context, place string, probe fmt.Stringer, err error) bool {
	name := "probe " + place
	switch {
	case err == nil:
		if s.w.health.clear(name, s.Name) {
			s.w.log.Info("the probe answers again", "station", s.Name, "probe", place)
		}
	case ctx.Err() != nil:
	case s.w.health.raise(name, s.Name, fmt.Sprintf("The %s probe gives no temperature: %v.", place, err)):
		s.w.log.Warn("read a probe", "station", s.Name, "probe", place, "which", probe.String(), "err", err)
	}
	return err != nil
}
