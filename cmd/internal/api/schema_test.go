package api_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/notify/schema"
	"nightjar/rise"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func compile(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	text, err := schema.Files.ReadFile(name)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource(name, doc))
	s, err := c.Compile(name)
	require.NoError(t, err)
	return s
}

func validate(t *testing.T, s *jsonschema.Schema, v any) error {
	t.Helper()
	text, err := json.Marshal(v)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	return s.Validate(doc)
}

// What is retained over MQTT is what its schema says, whatever is known.
func TestStateFollowsItsSchema(t *testing.T) {
	s := compile(t, "state.json")
	now := time.Date(2026, 3, 14, 3, 0, 0, 0, time.UTC)
	assert.NoError(t, validate(t, s, api.State{Point: api.Point{Time: now}, Station: "main"}), "nothing is known")
	full := api.State{
		Point: api.NewPoint(rise.Estimate{
			Time: now, LevelMM: rise.Known(61.2), Multiple: rise.Known(1.85), MultipleU: rise.Known(0.01), RatePctH: rise.Known(21),
			Phase: rise.PhaseRising, Forecast: rise.Forecast{P10: now, P50: now.Add(time.Hour), P90: now.Add(2 * time.Hour)}, DoughMultiple: rise.Known(1.7),
		}),
		Station: "main", JarC: rise.Known(24), DoughC: rise.Known(25), RoomC: rise.Known(21), Run: new(14), Target: rise.Known(2), Active: rise.AlertKinds,
	}
	assert.NoError(t, validate(t, s, full))
	full.Run = new(0)
	assert.Error(t, validate(t, s, full))
}

// Page, messages and replay show what an export prints: 0.01 mm, 0.01 % and 0.0001 of the multiple, and no −0.
func TestAPointIsAsFineAsAnExport(t *testing.T) {
	text, err := json.Marshal(api.NewPoint(rise.Estimate{LevelMM: rise.Known(152 - 114.35), Multiple: rise.Known(1.03544999), MultipleU: rise.Known(0.00446), RatePctH: rise.Known(-0.001)}))
	require.NoError(t, err)
	for _, want := range []string{`"level_mm":37.65,`, `"multiple":1.0354,`, `"multiple_u":0.0045,`, `"rise_pct":3.54,`, `"rate_pct_h":0,`, `"dough_multiple":null`} {
		assert.Contains(t, string(text), want)
	}
}

// The schema names what a state holds: nothing is published that it does not tell of.
func TestStateSchemaNamesEverything(t *testing.T) {
	text, err := schema.Files.ReadFile("state.json")
	require.NoError(t, err)
	var doc struct{ Properties map[string]any }
	require.NoError(t, json.Unmarshal(text, &doc))
	for _, typ := range []reflect.Type{reflect.TypeFor[api.Point](), reflect.TypeFor[api.State]()} {
		for f := range typ.Fields() {
			if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != "" {
				assert.Contains(t, doc.Properties, name)
			}
		}
	}
}
