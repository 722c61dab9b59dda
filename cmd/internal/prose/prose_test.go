package prose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// evening is a moment in the machine's own zone, so that the tests hold in every zone.
var evening = time.Date(2026, 3, 4, 22, 30, 0, 0, time.Local)

func TestMultipleShowsTwiceTheStandardUncertainty(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "×1.85 ± 0.04", Multiple(rise.Known(1.851), rise.Known(0.021)))
	assert.Equal(t, "×1.85", Multiple(rise.Known(1.851), rise.Num{}))
	assert.Equal(t, "no multiple yet", Multiple(rise.Num{}, rise.Known(1)))
}

func TestNumbersWithSigns(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "+12 %/h", Rate(rise.Known(12.4)))
	assert.Equal(t, "−3 %/h", Rate(rise.Known(-3)))
	assert.Equal(t, "0 %/h", Rate(rise.Known(-0.2)))
	assert.Empty(t, Rate(rise.Num{}))
	assert.Equal(t, "−2.5 °C", Celsius(rise.Known(-2.5)))
	assert.Equal(t, "0.0 °C", Celsius(rise.Known(-0.01)))
	assert.Equal(t, "unknown", Celsius(rise.Num{}))
	assert.Equal(t, "×2", Target(2))
	assert.Equal(t, "×1.75", Target(1.75))
}

func TestClockIsShortButUnambiguous(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "06:40", Clock(evening.Add(8*time.Hour+10*time.Minute), evening))
	assert.Equal(t, "Thu 12:30", Clock(evening.Add(14*time.Hour), evening))
	assert.Equal(t, "14 Mar 22:30", Clock(evening.AddDate(0, 0, 10), evening))
	assert.Equal(t, "4 Mar 2025 22:30", Clock(evening.AddDate(-1, 0, 0), evening))
	assert.Equal(t, "unknown", Clock(time.Time{}, evening))
}

func TestSpan(t *testing.T) {
	t.Parallel()
	for d, want := range map[time.Duration]string{
		20 * time.Second: "20 s", -20 * time.Second: "20 s", 25 * time.Minute: "25 min", 59*time.Minute + 40*time.Second: "1 h",
		8*time.Hour + 12*time.Minute: "8 h 12 min", 48 * time.Hour: "2 d", 76 * time.Hour: "3 d 4 h",
	} {
		assert.Equal(t, want, Span(d), d)
	}
}

func TestReady(t *testing.T) {
	t.Parallel()
	at := func(h, m int) *time.Time { v := time.Date(2026, 3, 5, h, m, 0, 0, time.Local); return &v }
	gone := evening.Add(-time.Minute)
	why := "not expected: the starter is too weak at this temperature"
	for want, p := range map[string]api.Point{
		"ready about 06:40, not before 06:10, by 07:30 at the latest": {ETAP10: at(6, 10), ETAP50: at(6, 40), ETAP90: at(7, 30)},
		"ready about 06:40, not before 06:10":                         {ETAP10: at(6, 10), ETAP50: at(6, 40)},
		"perhaps ready, not before 06:10":                             {ETAP10: at(6, 10)},
		"reaching its target about now":                               {ETAP10: &gone, ETAP50: &gone, ETAP90: at(7, 30)},
		why:                                                           {Reason: &why},
		"no forecast yet":                                             {},
		"the target is reached":                                       {Phase: rise.PhaseReady},
	} {
		assert.Equal(t, want, Ready(p, evening))
	}
}

func TestJar(t *testing.T) {
	t.Parallel()
	j := rise.Jar{FloorMM: 142, UFloorMM: 0.5, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 71.5}}
	assert.Equal(t, "floor 142.0 ± 1.0 mm, cylinder 71.5 mm", Jar(j))
	j.Profile = rise.Profile{Shape: rise.ShapeCone, DiameterMM: 60, Lean: 0.1}
	assert.Equal(t, "floor 142.0 ± 1.0 mm, cone 60.0 mm at the floor, lean +0.100", Jar(j))
	j.Profile = rise.Profile{Shape: rise.ShapePoured, Points: make([]rise.PouredPoint, 7)}
	assert.Equal(t, "floor 142.0 ± 1.0 mm, poured in 7 points", Jar(j))
}
