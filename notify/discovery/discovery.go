// Package discovery makes the message by which a station appears in a home automation by itself, after the device-based
// form of MQTT discovery (Home Assistant, core 2024.11 and later).
//
// One retained message a station announces all its entities. They read the station's state and alert topics, so that
// nothing is published twice. An entity's unique id and unit are for ever: long-term statistics hang on them.
//
// # Traps avoided
//
// There is no object_id, which is not accepted any more from 2026.4 on (home-assistant/addons issue 4240), but a
// default_entity_id with its domain. There is no expire_after, which replays a retained state as fresh after a restart
// (home-assistant.io pull request 40043); availability and the state's own stale flag serve. Events are lost while the
// home automation is down, so that active alerts are mirrored in the state.
package discovery

import (
	"encoding/json"
	"fmt"
	"strings"

	"nightjar/rise"
)

// DefaultPrefix is the first level of discovery topics unless the home automation was told otherwise.
const DefaultPrefix = "homeassistant"

// Options are what a station's announcement tells.
type Options struct {
	// Device and Station are their names in topics.
	Device, Station string
	// Version is that of this program.
	Version string
	// Dough and Room tell that the station has such a probe, beside the one at the jar.
	Dough, Room bool
	// Start, if set, makes a button that starts such a run.
	Start *rise.Run
}

// Topic is where a station's announcement is retained. An empty payload there takes the station away.
func Topic(prefix, device, station string) string {
	return fmt.Sprintf("%s/device/%s/config", prefix, id(device, station))
}

// StatusTopic is where the home automation says "online" after its own start; everything is to be announced again then.
func StatusTopic(prefix string) string { return prefix + "/status" }

func id(device, station string) string { return "nightjar_" + device + "_" + station }

// entity is one component of an announcement. Its keys are the convention's.
type entity map[string]any

// Config is the announcement, JSON.
func Config(o Options) ([]byte, error) {
	a := announcement{o: o, base: "nightjar/" + o.Device + "/" + o.Station, components: map[string]entity{}}
	a.measurements()
	a.conditions()
	if err := a.buttons(); err != nil {
		return nil, err
	}
	b, err := json.MarshalIndent(map[string]any{
		"device": map[string]any{
			"identifiers": []string{id(o.Device, o.Station)}, "name": "Nightjar " + o.Station, "model": "Dough watch",
			"serial_number": o.Device + "/" + o.Station, "sw_version": o.Version,
		},
		"origin":             map[string]any{"name": "nightjar", "sw_version": o.Version},
		"availability_topic": "nightjar/" + o.Device + "/availability",
		"state_topic":        a.base + "/state",
		"qos":                1,
		"components":         a.components,
	}, "", " ")
	if err != nil {
		return nil, fmt.Errorf("announcement of station %s: %w", o.Station, err)
	}
	return b, nil
}

type announcement struct {
	o          Options
	base       string
	components map[string]entity
}

// add adds an entity with what all have.
func (a *announcement) add(platform, key, name string, e entity) {
	e["platform"] = platform
	e["name"] = name
	e["unique_id"] = id(a.o.Device, a.o.Station) + "_" + key
	e["default_entity_id"] = strings.ToLower(fmt.Sprintf("%s.%s_%s", platform, strings.ReplaceAll(id(a.o.Device, a.o.Station), "-", "_"), key))
	a.components[key] = e
}

// value is a template over the state; null becomes None, which is "unknown" to the home automation.
func value(field string) string { return "{{ value_json." + field + " }}" }

func (a *announcement) measurements() {
	number := func(key, name, field, unit, icon string, digits int) {
		e := entity{"value_template": value(field), "state_class": "measurement", "suggested_display_precision": digits, "icon": icon}
		if unit != "" {
			e["unit_of_measurement"] = unit
		}
		a.add("sensor", key, name, e)
	}
	number("rise", "Rise", "rise_pct", "%", "mdi:arrow-expand-up", 0)
	number("multiple", "Multiple", "multiple", "", "mdi:multiplication", 2)
	number("rate", "Rate", "rate_pct_h", "%/h", "mdi:speedometer", 0)
	for _, p := range []struct {
		there            bool
		key, name, field string
	}{{true, "jar_temperature", "Jar temperature", "jar_c"}, {a.o.Dough, "dough_temperature", "Dough temperature", "dough_c"}, {a.o.Room, "room_temperature", "Room temperature", "room_c"}} {
		if p.there {
			a.add("sensor", p.key, p.name, entity{
				"value_template": value(p.field), "device_class": "temperature", "unit_of_measurement": "°C", "state_class": "measurement",
				"suggested_display_precision": 1,
			})
		}
	}
	for _, p := range []struct{ key, name, field string }{
		{"ready_at", "Ready at", "eta_p50"}, {"ready_earliest", "Ready at the earliest", "eta_p10"}, {"ready_latest", "Ready at the latest", "eta_p90"},
	} {
		e := entity{"value_template": value(p.field), "device_class": "timestamp"}
		if p.field != "eta_p50" {
			e["entity_category"] = "diagnostic"
		}
		a.add("sensor", p.key, p.name, e)
	}
}

func (a *announcement) conditions() {
	a.add("sensor", "phase", "Phase", entity{
		"device_class": "enum", "value_template": "{{ value_json.phase if value_json.phase else None }}",
		"options": []rise.Phase{rise.PhaseSettling, rise.PhaseWaiting, rise.PhaseRising, rise.PhaseReady, rise.PhasePeaked, rise.PhaseFalling},
	})
	a.add("binary_sensor", "problem", "Problem", entity{
		"device_class": "problem", "value_template": "{{ 'ON' if value_json.stale or 'fault' in (value_json.active or []) else 'OFF' }}",
	})
	a.add("binary_sensor", "alert", "Alert waiting", entity{
		"value_template": "{{ 'ON' if value_json.active else 'OFF' }}", "icon": "mdi:bell-ring",
	})
	a.add("event", "alerts", "Alerts", entity{
		"state_topic": a.base + "/alert", "event_types": rise.AlertKinds, "icon": "mdi:bell",
		"value_template": "{{ {'event_type': value_json.kind, 'level': value_json.level, 'text': value_json.text, 'id': value_json.id, 'n': value_json.n} | to_json }}",
	})
}

// buttons publish commands. Each press needs an id of its own, or it would be taken for the one before.
func (a *announcement) buttons() error {
	press := func(key, name, icon string, action rise.Action) error {
		action.ID = "@"
		b, err := json.Marshal(action)
		if err != nil {
			return fmt.Errorf("button %s of station %s: %w", name, a.o.Station, err)
		}
		a.add("button", key, name, entity{
			"command_topic": a.base + "/command", "icon": icon, "qos": 1,
			"command_template": strings.Replace(string(b), `"@"`, `"press-{{ now().timestamp() }}"`, 1),
		})
		return nil
	}
	if err := press("acknowledge", "I am up", "mdi:bell-check", rise.Action{Kind: rise.ActionAck}); err != nil {
		return err
	}
	if err := press("end", "End", "mdi:stop", rise.Action{Kind: rise.ActionEnd}); err != nil {
		return err
	}
	if a.o.Start == nil {
		return nil
	}
	return press("start", "Start", "mdi:play", rise.Action{Kind: rise.ActionStart, Start: a.o.Start})
}
