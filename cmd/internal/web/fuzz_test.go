package web_test

import (
	"encoding/json"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// bodies are the paths that take one, with a sound body for each.
var bodies = []struct{ path, body string }{
	{"/api/jars", `{"name":"cup","floor_mm":120,"u_floor_mm":0.5,"profile":{"shape":"cone","diameter_mm":60,"lean":0.1}}`},
	{"/api/jars", `{"name":"goblet","floor_mm":130,"profile":{"shape":"poured","points":[{"level_mm":12,"volume_ml":50},{"level_mm":24,"volume_ml":100}]}}`},
	{"/api/starters", `{"name":"edda","hydration_pct":80,"flours":{"rye":0.5,"wheat":0.5},"born":"2025-01-02T00:00:00Z"}`},
	{"/api/recipes", `{"name":"country","ingredients":[{"name":"flour","part":"flour","g":450},{"name":"water","part":"water","g":300},{"name":"starter","part":"starter","g":100,"hydration_pct":100},{"name":"milk","part":"other","g":20,"water_pct":87}],"target":1.8}`},
	{"/api/plan", `{"recipe":"","starter":"","mix":"2026-03-04T22:00:00Z","ready":"2026-03-05T07:00:00Z","target":2,"inoculation_pct":15,"hydration_pct":70,"salt_pct":2,"dough_c":25,"room_c":21,"fridge_c":4}`},
	{"/api/plan", `{"room_c":21}`},
	{"/api/starters/gerta/plan", `{"ripe":"2026-03-05T07:00:00Z","room_c":21,"mix_c":26}`},
	{"/api/runs/1/plan", `{"ready":"2026-03-05T07:00:00Z","room_c":21}`},
	{"/api/calibration", `{"jar":{"name":"tall","profile":{"shape":"cylinder","diameter_mm":71}},"station":"main","heights":[{"level_mm":0.3,"u_level_mm":0.1,"range_mm":140,"u_range_mm":0.1},{"level_mm":30,"u_level_mm":0.3,"range_mm":111,"u_range_mm":0.1}],"mounting_mm":[111,111.2,110.9,111.1],"u_mounting_mm":0.1}`},
	{"/api/tare", `{"jar":"tall","range_mm":140,"u_range_mm":0.1,"disc_mm":2}`},
}

// FuzzBodies posts anything to every path that takes a body: it is done, or refused with a remedy; never a fault of the
// service's own, never a number that is none.
func FuzzBodies(f *testing.F) {
	for i, b := range bodies {
		f.Add(uint8(i), b.body)
	}
	h := newHandler(f)
	for _, setup := range []struct{ path, body string }{
		{"/api/starters", `{"name":"gerta","hydration_pct":100}`},
		{"/api/actions", `{"kind":"start","start":{"jar":"tall"}}`},
	} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("POST", setup.path, strings.NewReader(setup.body)))
		require.Equal(f, 200, w.Code, w.Body.String())
	}
	f.Fuzz(func(t *testing.T, at uint8, body string) {
		path := bodies[int(at)%len(bodies)].path
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("POST", path, strings.NewReader(body)))
		require.Contains(t, []int{200, 400, 404, 409}, w.Code, "%s: %s", path, w.Body.String())
		require.True(t, json.Valid(w.Body.Bytes()))
		if w.Code != 200 {
			var p api.Problem
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &p))
			assert.NotEmpty(t, p.Error)
			assert.NotEmpty(t, p.Hint, p.Error)
			assert.NotContains(t, p.Error, "NaN")
		}
	})
}

// Every sound body is taken, but for the one about a run that has not risen.
func TestSoundBodiesAreTaken(t *testing.T) {
	t.Parallel()
	h := newHandler(t)
	ask(t, h, "POST", "/api/starters", `{"name":"gerta"}`, 200)
	for _, b := range bodies {
		want := 200
		if strings.HasPrefix(b.path, "/api/runs/") {
			want = 404
		}
		ask(t, h, "POST", b.path, b.body, want)
	}
	var shown []rise.Jar
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/api/jars", nil))
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &shown))
	assert.Len(t, shown, 3)
}
