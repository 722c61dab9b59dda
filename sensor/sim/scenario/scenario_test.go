package scenario_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"nightjar/sensor/sim/scenario"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestDefaultDoublesInTheSmallHours(t *testing.T) {
	t.Parallel()
	w := build(t, scenario.Default(), 0)
	at, ok := w.Stations[0].TimeTo(w.Target)
	require.True(t, ok)
	// Some eleven hours in a kitchen that cools in the night is what the demo promises.
	assert.InDelta(t, 11, at.Hours(), 0.5)
	assert.Less(t, w.Stations[0].True(9*time.Hour).RoomC, 19.0)
}

// minimal is the shortest scenario: every default is filled in.
const minimal = "start = 2026-10-16T20:30:00+02:00\n[[room]]\nc = 22\n[[station]]\n"

func TestLoadFillsInDefaults(t *testing.T) {
	t.Parallel()
	s, err := scenario.Load(strings.NewReader(minimal))
	require.NoError(t, err)
	assert.Equal(t, time.Date(2026, 10, 16, 18, 30, 0, 0, time.UTC), s.Start)
	assert.InDelta(t, 2, s.Target, 0)
	require.Len(t, s.Setups, 1)
	assert.Equal(t, "main", s.Setups[0].Name)
	assert.EqualValues(t, 0x29, s.Setups[0].Address)
	assert.InDelta(t, 72, s.Setups[0].Dough.HydrationPct, 0)
}

func TestLoadRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, toml, says string }{
		{"unknown key", minimal + "chipp = \"vl53l4cd\"\n", `line 5: unknown key "chipp"`},
		{"unknown key in a table", minimal + "[station.dough]\nbase = 3\n", `line 6: unknown key "base"`},
		{"no TOML", "start = \n", "line 1"},
		{"no time span", minimal + "[[fault]]\nat = \"soon\"\nkind = \"nack\"\n", "line 6"},
		{"negative time span", minimal + "[[fault]]\nat = \"-3h\"\nkind = \"nack\"\n", "negative"},
		{"no start", "[[room]]\n[[station]]\n", "start is missing"},
		{"no room", "start = 2026-10-16T20:30:00Z\n[[station]]\n", "no [[room]]"},
		{"no station", "start = 2026-10-16T20:30:00Z\n[[room]]\n", "no [[station]]"},
		{"room out of order", "start = 2026-10-16T20:30:00Z\n[[room]]\nat = \"1h\"\n[[room]]\nat = \"1h\"\n[[station]]\n", "room 2"},
		{"hot room", "start = 2026-10-16T20:30:00Z\n[[room]]\nc = 80\n[[station]]\n", "no kitchen"},
		{"endless", "length = \"1000h\"\n" + minimal, "14 days"},
		{"target", "target = 0.5\n" + minimal, "target"},
		{"station's name", minimal + "name = \"Left jar\"\n", "name"},
		{"jar's name", minimal + "[station.jar]\nname = \"tall jar\"\n", "tall jar"},
		{"chip", minimal + "chip = \"hcsr04\"\n", "hcsr04"},
		{"address", minimal + "address = 0x80\n", "address"},
		{"mux", minimal + "mux = 0x29\n", "mux"},
		{"two at one place", minimal + "name = \"a\"\n[[station]]\nname = \"b\"\n", "place"},
		{"jar", minimal + "[station.jar]\nfloor_mm = 20\n", "floor_mm"},
		{"optics", minimal + "[station.optics]\nreflect = -1\n", "reflect"},
		{"dough", minimal + "[station.dough]\nhydration_pct = 5\n", "hydration_pct"},
		{"kind", minimal + "[[fault]]\nkind = \"gremlin\"\n", "gremlin"},
		{"no duration", minimal + "[[fault]]\nkind = \"fog\"\n", "needs a for"},
		{"station of a fault", minimal + "[[fault]]\nkind = \"bump\"\nstation = \"left\"\n", `"left"`},
		{"probe of a fault", minimal + "[[fault]]\nfor = \"1m\"\nkind = \"probe_noise\"\nprobe = \"jar\"\n", `"jar" probe`},
	}
	for _, tt := range tests {
		_, err := scenario.Load(strings.NewReader(tt.toml))
		require.Error(t, err, tt.name)
		assert.ErrorContains(t, err, tt.says, tt.name)
	}
}

func FuzzLoad(f *testing.F) {
	f.Add(minimal)
	f.Add(minimal + "[station.dough]\nbase_mm = 30\n[[fault]]\nat = \"1h\"\nfor = \"5m\"\nkind = \"hand\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := scenario.Load(strings.NewReader(text))
		if err == nil {
			require.NoError(t, s.Check())
		}
	})
}

func Example() {
	s, err := scenario.Load(strings.NewReader(`
name = "Tuesday"
start = 2026-10-16T20:30:00+02:00
[[room]]
c = 25
[[station]]
[station.dough]
inoculation_pct = 20
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(s.Name, s.Setups[0].Chip, s.Length)
	// Output: Tuesday vl53l4cd 16h0m0s
}
