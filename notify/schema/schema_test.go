package schema_test

import (
	"bytes"
	"encoding/json"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"nightjar/notify"
	"nightjar/notify/notifytest"
	"nightjar/notify/schema"
	"nightjar/rise"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func compile(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	f, err := schema.Files.Open(name)
	require.NoError(t, err)
	defer f.Close()
	doc, err := jsonschema.UnmarshalJSON(f)
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource(name, doc))
	s, err := c.Compile(name)
	require.NoError(t, err)
	return s
}

func validate(t *testing.T, s *jsonschema.Schema, text []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	return s.Validate(v)
}

func TestEverySchemaCompiles(t *testing.T) {
	entries, err := schema.Files.ReadDir(".")
	require.NoError(t, err)
	require.NotEmpty(t, entries)
	for _, e := range entries {
		compile(t, e.Name())
	}
}

func TestAlerts(t *testing.T) {
	s := compile(t, "alert.json")
	golden, err := os.ReadFile("../testdata/messages.jsonl")
	require.NoError(t, err)
	for line := range strings.Lines(string(golden)) {
		assert.NoError(t, validate(t, s, []byte(line)))
	}
	for _, kind := range rise.AlertKinds {
		a := notifytest.Alert("main", 1)
		a.Kind, a.Level = kind, kind.Level()
		assert.NoError(t, validate(t, s, notify.NewMessage(a).JSON()), kind)
	}
	for _, change := range []func(*rise.Alert){
		func(a *rise.Alert) { a.ID = "4" }, func(a *rise.Alert) { a.Kind = "burnt" }, func(a *rise.Alert) { a.Station = "a/b" },
		func(a *rise.Alert) { a.Text = "" }, func(a *rise.Alert) { a.Quality = "" },
	} {
		a := notifytest.Alert("main", 1)
		change(&a)
		assert.Error(t, validate(t, s, notify.NewMessage(a).JSON()), "%+v", a)
	}
}

func TestCommands(t *testing.T) {
	s := compile(t, "command.json")
	for _, good := range []string{
		`{"id":"p1","kind":"ack"}`, `{"id":"p1","kind":"ack","alert":"attic-5f0c11de-1"}`, `{"id":"p1","kind":"snooze","minutes":10}`,
		`{"id":"p1","kind":"mark","mark":"folded","when":{"time":"2026-03-14T20:15:00Z"}}`, `{"id":"p1","kind":"note","text":"sticky"}`,
		`{"id":"p1","kind":"start","start":{"jar":"tall","target":2}}`,
		`{"id":"p1","kind":"feed","feed":{"starter":"rye","seed_g":20,"flour_g":100,"water_g":100}}`,
	} {
		assert.NoError(t, validate(t, s, []byte(good)), good)
		var a rise.Action
		dec := json.NewDecoder(strings.NewReader(good))
		dec.DisallowUnknownFields()
		assert.NoError(t, dec.Decode(&a), good)
	}
	for _, bad := range []string{
		`{}`, `{"kind":"ack"}`, `{"id":"","kind":"ack"}`, `{"id":"p1","kind":"explode"}`, `{"id":"p1","kind":"snooze"}`, `{"id":"p1","kind":"mark"}`,
		`{"id":"p1","kind":"mark","mark":"burnt"}`, `{"id":"p1","kind":"ack","alarm":"x"}`, `{"id":"p1","kind":"end","when":{"time":"yesterday"}}`, `[]`,
	} {
		assert.Error(t, validate(t, s, []byte(bad)), bad)
	}
}

// The schema of commands names what an action holds, no more and no less.
func TestCommandSchemaFollowsTheAction(t *testing.T) {
	b, err := schema.Files.ReadFile("command.json")
	require.NoError(t, err)
	var doc struct {
		Properties map[string]struct{ Enum []string }
	}
	require.NoError(t, json.Unmarshal(b, &doc))
	var got, want []string
	for name := range doc.Properties {
		got = append(got, name)
	}
	for f := range reflect.TypeFor[rise.Action]().Fields() {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		want = append(want, name)
	}
	slices.Sort(got)
	slices.Sort(want)
	assert.Equal(t, want, got)
	var kinds []string
	for _, k := range rise.ActionKinds {
		kinds = append(kinds, string(k))
	}
	assert.Equal(t, kinds, doc.Properties["kind"].Enum)
	assert.Equal(t, rise.Marks, doc.Properties["mark"].Enum)
}

func TestReplies(t *testing.T) {
	s := compile(t, "reply.json")
	for _, good := range []string{
		`{"id":"p1","action":{"id":"p1","kind":"ack"},"notices":["x"]}`, `{"error":"command refused: too many commands at once","hint":"send it again","refused":812}`,
	} {
		assert.NoError(t, validate(t, s, []byte(good)), good)
	}
	assert.Error(t, validate(t, s, []byte(`{"id":"p1"}`)))
	assert.Error(t, validate(t, s, []byte(`{"action":{},"error":"x"}`)))
}

func TestStates(t *testing.T) {
	s := compile(t, "state.json")
	good := `{"time":"2026-03-14T03:00:00Z","level_mm":61.2,"multiple":1.85,"multiple_u":0.01,"rise_pct":85,"rate_pct_h":21,"phase":"rising",` +
		`"eta_p10":"2026-03-14T03:40:00Z","eta_p50":null,"eta_p90":null,"reason":null,"dough_multiple":null,"station":"main","jar_c":24.1,"dough_c":null,` +
		`"room_c":null,"run":14,"target":2,"stale":false,"active":["soon"]}`
	assert.NoError(t, validate(t, s, []byte(good)))
	assert.NoError(t, validate(t, s, []byte(strings.Replace(good, `"run":14`, `"run":14,"later":"more"`, 1))), "a state may grow")
	for old, bad := range map[string]string{`"run":14`: `"run":0`, `"phase":"rising"`: `"phase":"up"`, `61.2`: `"61"`, `"stale":false,`: ``, `["soon"]`: `["late"]`} {
		assert.Error(t, validate(t, s, []byte(strings.Replace(good, old, bad, 1))), bad)
	}
}
