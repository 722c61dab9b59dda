package bell_test

import (
	"testing"
	"time"

	"nightjar/notify/bell"

	"github.com/stretchr/testify/assert"
)

func TestReach(t *testing.T) {
	now := at("21:00")
	routes := map[string]string{"mqtt": "a1", "phone": "b1"}
	ago := func(days int) time.Time { return now.AddDate(0, 0, -days) }
	for _, tt := range []struct {
		name   string
		routes map[string]string
		proofs []bell.Proof
		why    string // empty: it reaches somebody
	}{
		{"no route", nil, []bell.Proof{{Route: "mqtt", Config: "a1", Acked: now}}, "no route is set up"},
		{"never tested", routes, nil, "no test was ever acknowledged"},
		{"tested today", routes, []bell.Proof{{Route: "mqtt", Config: "a1", Acked: now}}, ""},
		{"tested 29 days ago", routes, []bell.Proof{{Route: "mqtt", Config: "a1", Acked: ago(29)}}, ""},
		{"tested 31 days ago", routes, []bell.Proof{{Route: "mqtt", Config: "a1", Acked: ago(31)}}, "mqtt was last tested 31 days ago"},
		{"set up anew", routes, []bell.Proof{{Route: "phone", Config: "b0", Acked: now}}, "phone was set up anew"},
		{"one stale, one fresh", routes, []bell.Proof{{Route: "phone", Config: "b0", Acked: now}, {Route: "mqtt", Config: "a1", Acked: ago(3)}}, ""},
		{"an old test and a newer one", routes, []bell.Proof{{Route: "mqtt", Config: "a1", Acked: ago(90)}, {Route: "mqtt", Config: "a1", Acked: ago(3)}}, ""},
		{"tested a route that is gone", routes, []bell.Proof{{Route: "tablet", Config: "c1", Acked: now}}, "no test was ever acknowledged"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			ok, why := bell.Reach(tt.routes, tt.proofs, now)
			assert.Equal(t, tt.why == "", ok)
			assert.Contains(t, why, tt.why)
			if !ok {
				assert.Contains(t, why, "no route is")
			}
		})
	}
}
