package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// reply answers a command: what was done, or the problem, with the caller's id.
type reply struct {
	ID string `json:"id,omitempty"`
	*api.ActionDone
	*api.Problem
}

// command does one action that came over MQTT. The topic names the station; an action that names another is refused.
func (d *daemon) command(ctx context.Context, station string, payload []byte) []byte {
	a, err := decodeAction(station, payload)
	r := reply{ID: a.ID}
	if err == nil {
		var done api.ActionDone
		if done, err = d.desk.Do(ctx, a); err == nil {
			r.ID, r.ActionDone = done.Action.ID, &done
		}
	}
	if err != nil {
		p := api.Problem{Error: err.Error()}
		if hinted, ok := errors.AsType[interface {
			error
			Hint() string
		}](err); ok {
			p.Hint = hinted.Hint()
		}
		r.Problem = &p
	}
	b, err := json.Marshal(r)
	if err != nil {
		d.log.Error("answer to a command cannot be encoded", "station", station, "err", err)
		return nil
	}
	return b
}

func decodeAction(station string, payload []byte) (rise.Action, error) {
	var a rise.Action
	dec := json.NewDecoder(bytes.NewReader(payload))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&a); err != nil {
		return rise.Action{}, errors.New("a command is one action as JSON, such as {\"id\":\"n1\",\"kind\":\"note\",\"text\":\"folded\"}: " + err.Error())
	}
	if a.Station != "" && a.Station != station {
		return a, errors.New("the command names station " + a.Station + " but was sent to " + station)
	}
	a.Station = station
	return a, nil
}
