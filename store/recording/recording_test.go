package recording_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store/recording"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var noon = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

func Example() {
	text := "time,range_mm,jar_c\n0,82.4,24.5\n30,82.1,24.5625\n"
	c, err := recording.Read(strings.NewReader(text), "night.csv", recording.Options{Start: noon})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, r := range c.Readings {
		fmt.Println(r.Time.Format(time.TimeOnly), r.RangeMM, r.JarC)
	}
	_, err = recording.Read(strings.NewReader("time,range_mm\n0,82.4\n30,8l\n"), "night.csv", recording.Options{})
	fmt.Println(err)
	// Output:
	// 12:00:00 82.4 24.5
	// 12:00:30 82.1 24.5625
	// night.csv:3:2: range_mm: "8l" is no number
}

// night makes a run over two boots with every kind of reading and action.
func night(rnd *rand.Rand) rise.Case {
	run := rise.Run{Number: 3, Kind: rise.RunDough, Station: "sill", Target: 2, Name: `Hand "L", rye`}
	c := rise.Case{Jar: rise.Jar{Name: "weck", Version: 2, FloorMM: 140, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 80}}}
	at := rise.Moment{Stamp: rise.Stamp{Boot: 4, At: time.Hour}, Wall: noon}
	run.Started = at
	c.Actions = append(c.Actions, rise.Action{ID: "a1", Kind: rise.ActionStart, Station: "sill", Run: 3, At: at, When: at, Start: &run})
	for i := range 400 {
		step := 30*time.Second + time.Duration(rnd.IntN(3))*time.Millisecond
		if at.At, at.Wall = at.At+step, at.Wall.Add(step); i == 200 {
			at.Stamp = rise.Stamp{Boot: 5, At: 20 * time.Second}
		}
		r := rise.Reading{Stamp: at.Stamp, Time: at.Wall, Quality: rise.TimeSynced}
		r.Of = 20
		if rnd.IntN(9) == 0 {
			r.Fault = rise.FaultView
			r.Statuses[rise.StatusWeak] = 20
		} else {
			r.RangeMM, r.SpreadMM, r.Valid = rise.Known(100+9*rnd.NormFloat64()), rise.Known(rnd.Float64()), 19
			r.SignalMcps, r.AmbientMcps, r.SigmaMM = rise.Known(7*rnd.Float64()), rise.Known(0), rise.Known(1.2)
			r.Statuses[rise.StatusGood] = 20
		}
		if rnd.IntN(5) > 0 {
			r.JarC, r.DoughC = rise.Known(float64(rnd.IntN(600)-80)/16), rise.Known(-0.5)
		}
		c.Readings = append(c.Readings, r.Rounded())
		if rnd.IntN(50) == 0 {
			c.Actions = append(c.Actions, rise.Action{ID: fmt.Sprint("n", i), Kind: rise.ActionNote, Run: 3, At: at, When: at, Text: "warm,\n\"very\""})
		}
	}
	at.At, at.Wall = at.At+time.Second, at.Wall.Add(time.Second)
	c.Actions = append(c.Actions, rise.Action{ID: "e", Kind: rise.ActionEnd, Run: 3, At: at, When: at})
	run2 := run
	run2.End, run2.EndReason = at, "end"
	c.Run = run2
	return c
}

func TestWhatIsWrittenIsReadAgain(t *testing.T) {
	for seed := range uint64(20) {
		want := night(rand.New(rand.NewPCG(seed, 1)))
		for _, derived := range []bool{false, true} {
			var b bytes.Buffer
			w := recording.NewWriter(&b, derived)
			w.Actions(want.Actions)
			for _, r := range want.Readings {
				require.NoError(t, w.Write(r, rise.Estimate{LevelMM: rise.Known(3), Multiple: rise.Known(1.5), Forecast: rise.Forecast{Reason: "too early, by far"}}))
			}
			require.NoError(t, w.Flush())
			_, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
			require.NoError(t, err, "another reader of RFC 4180 reads it")
			got, err := recording.Read(&b, "night.csv", recording.Options{})
			require.NoError(t, err, "seed %d", seed)
			csvWant := want
			csvWant.Jar = rise.Jar{}
			require.Equal(t, csvWant, got, "seed %d", seed)
		}
		var b bytes.Buffer
		require.NoError(t, recording.WriteJSON(&b, want))
		got, err := recording.Read(&b, "night.json", recording.Options{})
		require.NoError(t, err)
		require.Equal(t, want, got, "seed %d", seed)
	}
}

func TestDerivedColumnsArePrintedToTheirSteps(t *testing.T) {
	r := rise.Reading{Time: noon.Add(1500 * time.Millisecond), Stamp: rise.Stamp{Boot: 1, At: 1500 * time.Millisecond}}
	r.RangeMM, r.Valid, r.Of, r.Statuses[0] = rise.Known(81.2), 20, 20, 20
	e := rise.Estimate{
		LevelMM: rise.Known(58.804), Multiple: rise.Known(1.23456), MultipleU: rise.Known(0.01), RatePctH: rise.Known(-0.004),
		Phase: rise.PhaseRising, Forecast: rise.Forecast{P50: noon.Add(3*time.Hour + 400*time.Millisecond)},
	}
	var b bytes.Buffer
	w := recording.NewWriter(&b, true)
	require.NoError(t, w.Write(r, e))
	require.NoError(t, w.Flush())
	assert.Equal(t, "time,range_mm,jar_c,dough_c,room_c,room_rh,spread_mm,valid,of,signal,ambient,sigma_mm,statuses,fault,action,boot,boot_s,"+
		"level_mm,multiple,multiple_u,rise_pct,rate_pct_h,phase,eta_p10,eta_p50,eta_p90,reason,dough_multiple\r\n"+
		"2026-05-01T12:00:01.500Z,81.20,,,,,,20,20,,,,20,,,1,1.500,58.80,1.2346,0.0100,23.46,0.00,rising,,2026-05-01T15:00:00Z,,,\r\n", b.String())
}

func TestRangeOrLevel(t *testing.T) {
	const text = "time,range_mm,level_mm,colour\n2026-05-01T14:00:00+02:00,90,50,red\n2026-05-01T12:00:00Z,,51,\n"
	c, err := recording.Read(strings.NewReader(text), "x", recording.Options{})
	require.NoError(t, err)
	require.Len(t, c.Readings, 2, "equal times are allowed")
	assert.Equal(t, "90", c.Readings[0].RangeMM.String())
	assert.False(t, c.Readings[0].LevelMM.IsKnown())
	assert.Equal(t, 1, c.Readings[0].Valid)
	assert.Equal(t, 0, c.Readings[1].Valid)
	assert.Equal(t, noon, c.Readings[0].Time)
	c, err = recording.Read(strings.NewReader(text), "x", recording.Options{Levels: true})
	require.NoError(t, err)
	assert.Equal(t, "51", c.Readings[1].LevelMM.String())
	assert.False(t, c.Readings[1].RangeMM.IsKnown())
}

func TestBrokenRecordings(t *testing.T) {
	for name, tt := range map[string]struct{ text, want string }{
		"empty":           {"", "x:1: empty"},
		"no rows":         {"time,range_mm\n", "x:1: no reading in it"},
		"no time":         {"when,range_mm\n0,1\n", "x:1: no column time"},
		"no range":        {"time,distance\n0,1\n", "x:1: no column range_mm or level_mm"},
		"semicolons":      {"time;range_mm\n0;1,5\n", "x:1:1: columns are not parted by commas"},
		"twice":           {"time,range_mm,time\n0,1,2\n", "x:1:3: time: stands in column 1 already"},
		"bad number":      {"time,range_mm\n0,1\n1,1.2.3\n", `x:3:2: range_mm: "1.2.3" is no number`},
		"not a number":    {"time,range_mm\n0,NaN\n", `x:2:2: range_mm: "NaN" is no number`},
		"hexadecimal":     {"time,range_mm\n0,0x1p4\n", `x:2:2: range_mm: "0x1p4" is no number`},
		"huge":            {"time,range_mm\n0,1e300\n", `x:2:2: range_mm: "1e300" is no number`},
		"time back":       {"time,range_mm\n5,1\n4,1\n", "x:3:1: time: runs back: the row before is later"},
		"date back":       {"time,range_mm\n2026-05-01T12:00:00Z,1\n2026-05-01T11:59:59Z,1\n", "x:3:1: time: runs back: the row before is later"},
		"mixed times":     {"time,range_mm\n5,1\n2026-05-01T12:00:00Z,1\n", `x:3:1: time: "2026-05-01T12:00:00Z" is no time as the others`},
		"mixed times too": {"time,range_mm\n2026-05-01T12:00:00Z,1\n5,1\n", `x:3:1: time: "5" is no time as the others`},
		"no such time":    {"time,range_mm\nsoon,1\n", `x:2:1: time: "soon" is no time as the others`},
		"half a row":      {"time,range_mm,jar_c\n0,1,20\n30,1\n", "x:3:2: 2 fields where the header has 3"},
		"open quote":      {"time,range_mm,fault\n0,1,\"vie\n", `x:2:10: extraneous or missing " in quoted-field`},
		"boot alone":      {"time,range_mm,boot\n0,1,1\n", "x:1: boot and boot_s must stand together"},
		"boot back":       {"time,range_mm,boot,boot_s\n0,1,2,5\n1,1,1,9\n", "x:3:4: boot_s: runs back: the row before is later"},
		"bad count":       {"time,range_mm,valid\n0,1,-1\n", `x:2:3: valid: "-1" is no count`},
		"bad statuses":    {"time,range_mm,statuses\n0,1,1 2 3 4 5 6 7 8\n", `x:2:3: statuses: "1 2 3 4 5 6 7 8" are no counts`},
		"bad action":      {"time,range_mm,action\n0,1,{}\n", `x:2:3: action: "" is no kind of action`},
		"no json":         {"time,range_mm,action\n0,1,start\n", "x:2:3: action: invalid character 's' looking for beginning of value"},
		"half json":       {"{\"run\":{},\n\"readings\":[{\"boot\":1", "x:2:21: unexpected end of JSON input"},
		"wrong json":      {"{\"readings\":\n7}", "x:2:1: readings: number does not belong here"},
		"json back":       {`{"readings":[{"boot":1,"at":5},{"boot":1,"at":4}]}`, "x: readings[1]: runs back: the reading before is later"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := recording.Read(strings.NewReader(tt.text), "x", recording.Options{})
			require.EqualError(t, err, tt.want)
			var e *recording.Error
			require.ErrorAs(t, err, &e)
			assert.NotEmpty(t, e.Hint())
		})
	}
}

func TestARecordingCutAnywhereIsReadOrRefused(t *testing.T) {
	want := night(rand.New(rand.NewPCG(1, 2)))
	var b bytes.Buffer
	w := recording.NewWriter(&b, false)
	w.Actions(want.Actions)
	for _, r := range want.Readings[:10] {
		require.NoError(t, w.Write(r, rise.Estimate{}))
	}
	require.NoError(t, w.Flush())
	for n := range b.Len() {
		c, err := recording.Read(bytes.NewReader(b.Bytes()[:n]), "x", recording.Options{})
		if err == nil {
			k := len(c.Readings) - 1 // a number that lost its last digits is still one: only that row may differ
			require.Equal(t, want.Readings[:k], c.Readings[:k], "cut at %d", n)
		}
	}
}

func TestAFullDiskEndsTheWriter(t *testing.T) {
	full := errors.New("no space left")
	w := recording.NewWriter(writerFunc(func(b []byte) (int, error) { return 0, full }), false)
	var err error
	for i := 0; err == nil && i < 1e6; i++ {
		err = w.Write(rise.Reading{}, rise.Estimate{})
	}
	require.ErrorIs(t, err, full)
	require.ErrorIs(t, w.Flush(), full)
}

type writerFunc func(b []byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

func FuzzRead(f *testing.F) {
	f.Add([]byte("time,range_mm,valid,of,statuses,fault,action,boot,boot_s\n0,1,1,1,1,view,\"{\"\"kind\"\":\"\"note\"\"}\",1,2\n"))
	f.Add([]byte("time,level_mm\r\n2026-05-01T12:00:00.5Z,3.25\r\n"))
	f.Add([]byte(`{"run":{"run":1},"jar":{},"actions":[{"id":"a","kind":"note"}],"readings":[{"boot":1,"at":5,"range_mm":3.5}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := recording.Read(bytes.NewReader(text), "x", recording.Options{})
		if err != nil {
			return
		}
		for i, r := range c.Readings {
			if i > 0 && r.Before(c.Readings[i-1].Stamp) {
				t.Fatal("time runs back")
			}
		}
		w := recording.NewWriter(io.Discard, true)
		w.Actions(c.Actions)
		for _, r := range c.Readings {
			_ = w.Write(r, rise.Estimate{})
		}
		_ = w.Flush()
	})
}

func BenchmarkWrite(b *testing.B) {
	c := night(rand.New(rand.NewPCG(1, 2)))
	for name, out := range map[string]io.Writer{"discard": io.Discard, "null": null(b)} {
		b.Run(name, func(b *testing.B) {
			w := recording.NewWriter(out, false)
			rows := 0
			for b.Loop() {
				for _, r := range c.Readings {
					_ = w.Write(r, rise.Estimate{})
				}
				rows += len(c.Readings)
			}
			b.ReportMetric(float64(rows)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

func null(b *testing.B) io.Writer {
	f, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	require.NoError(b, err)
	b.Cleanup(func() { _ = f.Close() })
	return f
}
