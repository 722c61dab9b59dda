package discovery_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"nightjar/notify/discovery"
	"nightjar/notify/schema"
	"nightjar/rise"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func full() discovery.Options {
	return discovery.Options{
		Device: "attic", Station: "main", Version: "1.0", Dough: true, Room: true, Start: &rise.Run{Kind: rise.RunDough, Jar: "tall", Target: 2},
	}
}

// Statistics and dashboards hang on these ids, units and topics: they only grow.
func TestAnnouncementIsFixed(t *testing.T) {
	got, err := discovery.Config(full())
	require.NoError(t, err)
	const golden = "testdata/config.json"
	if *update {
		require.NoError(t, os.WriteFile(golden, append(got, '\n'), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got)+"\n")
	assert.Equal(t, "homeassistant/device/nightjar_attic_main/config", discovery.Topic(discovery.DefaultPrefix, "attic", "main"))
	assert.Equal(t, "homeassistant/status", discovery.StatusTopic(discovery.DefaultPrefix))
}

// The schema states what the convention asks: home-assistant/core components/mqtt/schemas.py, discovery.py, event.py.
func TestAnnouncementIsValid(t *testing.T) {
	text, err := schema.Files.ReadFile("discovery.json")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("discovery.json", doc))
	s, err := c.Compile("discovery.json")
	require.NoError(t, err)
	valid := func(b []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
		require.NoError(t, err)
		return s.Validate(v)
	}
	good, err := discovery.Config(full())
	require.NoError(t, err)
	assert.NoError(t, valid(good))
	least, err := discovery.Config(discovery.Options{Device: "Attic-2", Station: "proofer_1"})
	require.NoError(t, err)
	assert.NoError(t, valid(least))
	assert.NotContains(t, string(least), "dough_temperature")
	assert.NotContains(t, string(least), `"start"`)
	for old, bad := range map[string]string{
		`"default_entity_id": "sensor.`: `"object_id": "`, `"default_entity_id": "button.`: `"default_entity_id": "sensor.`, `"identifiers"`: `"identity"`,
		`"origin"`: `"source"`, `"platform": "event"`: `"platform": "bell"`, `"event_types"`: `"types"`, `"qos": 1`: `"expire_after": 60`,
		`"command_topic"`: `"cmd"`,
	} {
		require.Contains(t, string(good), old)
		assert.Error(t, valid([]byte(strings.ReplaceAll(string(good), old, bad))), bad)
	}
}

// job is a template to render over a state.
type job struct {
	Template string         `json:"template"`
	State    map[string]any `json:"state"`
}

// render has templates rendered by the library that the home automation uses.
func render(t *testing.T, jobs []job) (rendered []string) {
	t.Helper()
	in, err := json.Marshal(jobs)
	require.NoError(t, err)
	cmd := exec.Command("python3", "-c", `
import sys, json, datetime, jinja2
e = jinja2.Environment()
e.filters["to_json"] = json.dumps
e.globals["now"] = datetime.datetime.now
print(json.dumps([e.from_string(j["template"]).render(value_json=j["state"]) for j in json.load(sys.stdin)]))`)
	cmd.Stdin = bytes.NewReader(in)
	var trouble bytes.Buffer
	cmd.Stderr = &trouble
	out, err := cmd.Output()
	require.NoError(t, err, "%s", &trouble)
	require.NoError(t, json.Unmarshal(out, &rendered))
	return rendered
}

func TestTemplatesRender(t *testing.T) {
	if exec.Command("python3", "-c", "import jinja2").Run() != nil {
		t.Skip("needs python3 with jinja2 (apt-get install python3-jinja2)")
	}
	b, err := discovery.Config(full())
	require.NoError(t, err)
	var doc struct {
		Components map[string]map[string]any
	}
	require.NoError(t, json.Unmarshal(b, &doc))
	state := map[string]any{"rise_pct": 85.4, "phase": "rising", "eta_p50": nil, "stale": false, "active": []string{"fault"}}
	rest := map[string]any{"phase": "", "stale": false, "active": nil}
	var jobs []job
	var wants []string
	for _, tt := range []struct {
		key   string
		state map[string]any
		want  string
	}{
		{"rise", state, "85.4"}, {"ready_at", state, "None"}, {"phase", state, "rising"}, {"problem", state, "ON"}, {"alert", state, "ON"},
		{"phase", rest, "None"}, {"problem", rest, "OFF"}, {"alert", rest, "OFF"},
	} {
		jobs = append(jobs, job{fmt.Sprint(doc.Components[tt.key]["value_template"]), tt.state})
		wants = append(wants, tt.want)
	}
	alert := map[string]any{"kind": "ready", "level": "wakes", "text": "\"Rye\"\nis ready", "id": "attic-5f0c11de-1", "n": 2}
	jobs = append(jobs, job{fmt.Sprint(doc.Components["alerts"]["value_template"]), alert})
	presses := []string{"acknowledge", "end", "start", "acknowledge", "end", "start"}
	for _, key := range presses {
		jobs = append(jobs, job{fmt.Sprint(doc.Components[key]["command_template"]), nil})
	}
	got := render(t, jobs)
	assert.Equal(t, wants, got[:len(wants)])
	assert.JSONEq(t, `{"event_type":"ready","level":"wakes","text":"\"Rye\"\nis ready","id":"attic-5f0c11de-1","n":2}`, got[len(wants)])
	seen := map[string]bool{}
	for _, command := range got[len(wants)+1:] {
		var a rise.Action
		require.NoError(t, json.Unmarshal([]byte(command), &a), command)
		assert.False(t, seen[a.ID], "each press has an id of its own")
		seen[a.ID] = true
	}
	assert.Len(t, seen, len(presses))
}

func Example() {
	b, err := discovery.Config(discovery.Options{Device: "attic", Station: "main", Version: "1.0"})
	var doc struct {
		Device     struct{ Name string }
		Components map[string]struct{ Platform string }
	}
	_ = json.Unmarshal(b, &doc)
	fmt.Println(doc.Device.Name, len(doc.Components), doc.Components["problem"].Platform, err)
	// Output: Nightjar main 13 binary_sensor <nil>
}
