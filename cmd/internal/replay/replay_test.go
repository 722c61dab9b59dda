package replay_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/replay"
	"nightjar/rise"
	"nightjar/store/recording"
)

const recordings = "../../../testdata/recordings/"

// lines replays into JSON lines and takes the summary off.
func lines(t *testing.T, o replay.Options) ([]map[string]any, replay.Summary) {
	t.Helper()
	o.JSON = true
	var b bytes.Buffer
	require.NoError(t, replay.Run(t.Context(), &b, o))
	var out []map[string]any
	for line := range strings.Lines(b.String()) {
		var m map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &m))
		out = append(out, m)
	}
	var last struct {
		Summary replay.Summary
	}
	all := strings.Split(strings.TrimSpace(b.String()), "\n")
	require.NoError(t, json.Unmarshal([]byte(all[len(all)-1]), &last))
	return out[:len(out)-1], last.Summary
}

// The shipped recording is the reference table, in millimetres and seconds.
func TestSchoolRecordingsAreTheReferenceTable(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../../testdata/reference/school_dough_height.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	want := map[string]string{}
	for _, row := range rows[1:] {
		minutes, err := strconv.Atoi(row[1])
		require.NoError(t, err)
		cm, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		want[row[0]] += fmt.Sprintf("%d,%.1f\n", minutes*60, cm*10)
	}
	require.Len(t, want, 3)
	for trial, body := range want {
		got, err := os.ReadFile(recordings + "school-dough-" + trial + ".csv")
		require.NoError(t, err)
		assert.Equal(t, "time,level_mm\n"+body, string(got))
	}
}

// Rise after 50 min and time to ×1.25 by interpolation in the published heights (the README beside them): 75 → 100 mm,
// 88 → 112 mm, 90 → 122 mm. The multiple is smoothed and the ruler shows whole millimetres: 0.3 points, a quarter of a
// minute.
func TestSchoolRecordings(t *testing.T) {
	t.Parallel()
	for trial, want := range map[string]struct{ base, risePct, minutes float64 }{
		"1": {75, 33.3, 40 + 10*(93.75-92)/(100-92)},
		"2": {88, 27.3, 40 + 10*(110.0-100)/(112-100)},
		"3": {90, 35.6, 30 + 10*(112.5-105)/(115-105)},
	} {
		ls, s := lines(t, replay.Options{Files: []string{recordings + "school-dough-" + trial + ".csv"}, Target: 1.25})
		require.Len(t, ls, 6)
		assert.InDelta(t, want.base, s.BaseMM.Or(0), 0.5, trial)
		assert.InDelta(t, want.risePct, ls[5]["rise_pct"], 0.3, trial)
		require.NotNil(t, s.TargetTime, trial)
		assert.InDelta(t, want.minutes, 60*s.TargetH.Or(0), 0.25, trial)
		assert.Equal(t, 6, s.Readings)
		for i, l := range ls {
			at, err := time.Parse(time.RFC3339, l["time"].(string))
			require.NoError(t, err)
			assert.Equal(t, int64(600*i), at.Unix(), "seconds from the start")
		}
		_, doubled := lines(t, replay.Options{Files: []string{recordings + "school-dough-" + trial + ".csv"}, Target: 2})
		assert.Nil(t, doubled.TargetTime, "none of them doubles in the time recorded")
	}
}

// night is a case of ranges above a dough that settles, rises to ×2.6 and falls; noise of 1 mm a range, 20 ranges.
func night(seed uint64) rise.Case {
	rng := rand.New(rand.NewPCG(seed, 1))
	start := time.Date(2026, 3, 4, 21, 0, 0, 0, time.UTC)
	c := rise.Case{
		Run: rise.Run{Number: 1, Kind: rise.RunDough, Station: "main", Jar: "tall", JarVersion: 1, Target: 2, Started: rise.Moment{Stamp: rise.Stamp{Boot: 1, At: time.Hour}, Wall: start}},
		Jar: rise.Jar{Name: "tall", Version: 1, FloorMM: 142, UFloorMM: 0.5, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 71.5}},
	}
	c.Actions = []rise.Action{{ID: "s", Kind: rise.ActionStart, Station: "main", Run: 1, When: c.Run.Started, At: c.Run.Started, Start: &c.Run}}
	for at := time.Duration(0); at <= 12*time.Hour; at += 30 * time.Second {
		h := at.Hours()
		level := 30 + 48/(1+math.Exp(-(h-5.5)/0.8)) + 1.5*math.Exp(-h/0.2)
		r := rise.Reading{
			Stamp: rise.Stamp{Boot: 1, At: time.Hour + at}, Time: start.Add(at), Quality: rise.TimeSynced, JarC: rise.Known(24 - h/6),
			Burst: rise.Burst{RangeMM: rise.Known(142 - level + rng.NormFloat64()/math.Sqrt(20)), SpreadMM: rise.Known(1), Valid: 20, Of: 20, Statuses: [rise.StatusCount]uint16{20}},
		}
		c.Readings = append(c.Readings, r.Rounded())
	}
	return c
}

// export writes a case as nightjar export does.
func export(t testing.TB, c rise.Case) (path string, text []byte) {
	t.Helper()
	var b bytes.Buffer
	w := recording.NewWriter(&b, true)
	w.Actions(c.Actions)
	for r, e := range rise.Fold(c) {
		require.NoError(t, w.Write(r, e))
	}
	require.NoError(t, w.Flush())
	path = filepath.Join(t.TempDir(), "night.csv")
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o600))
	return path, b.Bytes()
}

// An export replayed with the same jar and priors gives every derived column again, as printed.
func TestExportIntoReplayReproducesEveryDerivedColumn(t *testing.T) {
	t.Parallel()
	c := night(1)
	past := filepath.Join(t.TempDir(), "past.json")
	var b bytes.Buffer
	earlier := night(2)
	require.NoError(t, recording.WriteJSON(&b, earlier))
	require.NoError(t, os.WriteFile(past, b.Bytes(), 0o600))
	tracker, _, err := rise.Resume(earlier)
	require.NoError(t, err)
	c.Past = []rise.Summary{tracker.Summary()}

	path, text := export(t, c)
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	col := map[string]int{}
	for i, name := range rows[0] {
		col[name] = i
	}
	ls, s := lines(t, replay.Options{Files: []string{path}, Jar: c.Jar, Past: []string{past}})
	require.Len(t, ls, len(c.Readings))
	i := 0
	for _, row := range rows[1:] {
		if row[col["range_mm"]] == "" {
			continue // an action
		}
		for name, digits := range map[string]int{"level_mm": 2, "multiple": 4, "multiple_u": 4, "rise_pct": 2, "rate_pct_h": 2, "dough_multiple": 4} {
			got := ""
			if v, ok := ls[i][name].(float64); ok {
				got = rise.Known(v).Text(digits)
			}
			if strings.Trim(got, "-0.") == "" {
				got = strings.TrimPrefix(got, "-") // the writer knows no −0
			}
			require.Equal(t, row[col[name]], got, "%s at %v", name, ls[i]["time"])
		}
		for _, name := range []string{"time", "phase", "eta_p10", "eta_p50", "eta_p90", "reason"} {
			got, _ := ls[i][name].(string)
			if strings.HasPrefix(name, "eta") && got != "" {
				at, err := time.Parse(time.RFC3339Nano, got)
				require.NoError(t, err)
				got = at.Round(time.Second).Format(time.RFC3339)
			}
			require.Equal(t, row[col[name]], got, "%s at %v", name, ls[i]["time"])
		}
		i++
	}
	assert.Len(t, s.Forecasts, 3)
}

func TestLinesHaveTheAgreedKeysAndAlertsAlwaysGetOne(t *testing.T) {
	t.Parallel()
	c := night(3)
	path, _ := export(t, c)
	every, _ := lines(t, replay.Options{Files: []string{path}, Jar: c.Jar, Every: 5 * time.Minute})
	kinds := map[string]int{}
	plain := 0
	for _, l := range every {
		var keys []string
		for k := range l {
			keys = append(keys, k)
		}
		assert.ElementsMatch(t, []string{"time", "level_mm", "multiple", "multiple_u", "rise_pct", "rate_pct_h", "phase", "eta_p10",
			"eta_p50", "eta_p90", "reason", "dough_multiple", "alerts"}, keys)
		requireTypes(t, l)
		alerts := l["alerts"].([]any)
		if len(alerts) == 0 {
			plain++
		}
		for _, a := range alerts {
			alert := a.(map[string]any)
			kinds[alert["kind"].(string)]++
			assert.Equal(t, l["time"], alert["time"])
		}
	}
	assert.InDelta(t, 145, plain, 10, "a line every 5 min over 12 h")
	assert.Equal(t, 1, kinds["ready"])
	assert.Equal(t, 1, kinds["soon"])
	few, _ := lines(t, replay.Options{Files: []string{path}, Jar: c.Jar, Every: 24 * time.Hour})
	ready := 0
	for _, l := range few {
		for _, a := range l["alerts"].([]any) {
			if a.(map[string]any)["kind"] == "ready" {
				ready++
			}
		}
	}
	assert.Equal(t, 1, ready, "an alert is told however rarely lines are")
}

// requireTypes fails unless a line's values are of the agreed types: numbers, RFC 3339 times in UTC and words, null where
// unknown. A forecast has times in order and no reason, or a reason and no times.
func requireTypes(t *testing.T, l map[string]any) {
	t.Helper()
	for _, name := range []string{"level_mm", "multiple", "multiple_u", "rise_pct", "rate_pct_h", "dough_multiple"} {
		if l[name] != nil {
			require.IsType(t, 0.0, l[name], name)
		}
	}
	times := map[string]time.Time{}
	for _, name := range []string{"time", "eta_p10", "eta_p50", "eta_p90"} {
		if l[name] == nil {
			continue
		}
		require.IsType(t, "", l[name], name)
		at, err := time.Parse(time.RFC3339, l[name].(string))
		require.NoError(t, err, name)
		require.Equal(t, time.UTC, at.Location(), name)
		times[name] = at
	}
	require.Contains(t, times, "time")
	require.Contains(t, []any{"settling", "waiting", "rising", "ready", "peaked", "falling"}, l["phase"])
	if l["reason"] == nil {
		require.Len(t, times, 4)
		require.False(t, times["eta_p50"].Before(times["eta_p10"]) || times["eta_p90"].Before(times["eta_p50"]))
		return
	}
	require.NotEmpty(t, l["reason"])
	require.Len(t, times, 1)
}

// A line uses nothing later: a recording cut short gives the same lines as far as it goes.
func TestReplayIsCausal(t *testing.T) {
	t.Parallel()
	c := night(4)
	whole, _ := export(t, c)
	c.Readings = c.Readings[:700]
	cut, _ := export(t, c)
	a, _ := lines(t, replay.Options{Files: []string{whole}, Jar: c.Jar})
	b, _ := lines(t, replay.Options{Files: []string{cut}, Jar: c.Jar})
	assert.Equal(t, a[:700], b)
}

func TestTextIsWhatABakerReads(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	require.NoError(t, replay.Run(t.Context(), &b, replay.Options{Files: []string{recordings + "school-dough-1.csv"}, Target: 1.25, Every: 10 * time.Minute}))
	for _, want := range []string{"6 readings over 50 min, target ×1.25", "0:50     100.0  ×1.33 ±", "base level  75.0 ±", "reached at 0:42, 42 min after the start"} {
		assert.Contains(t, b.String(), want)
	}
	c := night(5)
	path, _ := export(t, c)
	b.Reset()
	require.NoError(t, replay.Run(t.Context(), &b, replay.Options{Files: []string{path}, Jar: c.Jar, Every: time.Hour}))
	assert.Contains(t, b.String(), "* ready: ")
	assert.Contains(t, b.String(), "at 50 % ")
}

func TestRecordingsThatCannotBeReplayed(t *testing.T) {
	t.Parallel()
	write := func(text string) string {
		path := filepath.Join(t.TempDir(), "r.csv")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	var e *replay.Error
	run := func(o replay.Options) error { return replay.Run(t.Context(), &bytes.Buffer{}, o) }
	require.ErrorAs(t, run(replay.Options{Files: []string{write("time,range_mm\n0,100\n30,99\n")}}), &e)
	assert.Contains(t, e.Error(), "no jar")
	assert.Contains(t, e.Hint(), "--floor-mm")
	require.ErrorAs(t, run(replay.Options{Files: []string{recordings + "school-dough-1.csv"}, Target: 0.5}), &e)
	assert.Contains(t, e.Error(), "target of ×0.5")

	var place *recording.Error
	require.ErrorAs(t, run(replay.Options{Files: []string{write("time,level_mm\n0,30\nx,31\n")}}), &place)
	assert.Equal(t, 3, place.Line)
	require.ErrorAs(t, run(replay.Options{Files: []string{write("time,level_mm\n60,30\n30,31\n")}}), &place)
	assert.Contains(t, place.Error(), "runs back")
	require.ErrorAs(t, run(replay.Options{Files: []string{recordings + "school-dough-1.csv"}, Past: []string{write("time,jar_c\n0,3\n")}}), &place)
	require.ErrorIs(t, run(replay.Options{Files: []string{"absent.csv"}}), os.ErrNotExist)

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, replay.Run(ctx, &bytes.Buffer{}, replay.Options{Files: []string{recordings + "school-dough-1.csv"}}), context.Canceled)
}

// BenchmarkReplay replays a night of 12 hours, file and all. x-real is how many times faster than real time: at least
// 100,000 is promised.
func BenchmarkReplay(b *testing.B) {
	c := night(6)
	path, _ := export(b, c)
	var out bytes.Buffer
	b.ReportAllocs()
	for b.Loop() {
		out.Reset()
		if err := replay.Run(b.Context(), &out, replay.Options{Files: []string{path}, Jar: c.Jar, Every: 5 * time.Minute, JSON: true}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(12*3600/(b.Elapsed().Seconds()/float64(b.N)), "x-real")
}
