package mqtt

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	// commandLimit is the largest command in bytes; an action is far smaller.
	commandLimit = 16 << 10
	// commandQueue is how many commands may wait for the one being done.
	commandQueue = 64
	// refusedStations bounds the stations whose refusals wait to be answered: a topic may name any.
	refusedStations = 16
)

type command struct {
	station string
	payload []byte
}

// refusal answers a command that was not taken. Error and Hint are those of every error of the JSON interface.
type refusal struct {
	ID    string `json:"id,omitempty"`
	Error string `json:"error"`
	Hint  string `json:"hint"`
	// Refused counts the commands that this answers.
	Refused int `json:"refused"`
}

// intake decides on arrival which commands are taken.
type intake struct {
	client *Client

	mu      sync.Mutex
	level   float64 // commands that may come now
	at      time.Time
	refused map[string]refusal // the last one by station
	answer  chan struct{}
}

// arrived is called by the library for each message. It must neither block nor publish.
func (c *Client) arrived(_ paho.Client, m paho.Message) {
	switch topic := m.Topic(); {
	case topic == c.topic("availability"):
		// The will of a connection that this one replaced may come late.
		if string(m.Payload()) == "offline" && c.current() != nil {
			c.unsent(topic)
		}
	case topic == c.o.Announce:
		if string(m.Payload()) == "online" && !m.Retained() {
			c.unsent()
		}
	default:
		levels := strings.Split(topic, "/")
		if len(levels) == 4 && levels[3] == "command" && CheckName("station", levels[2]) == nil {
			c.intake.take(command{levels[2], m.Payload()}, m.Retained())
		}
	}
}

func (in *intake) take(cmd command, retained bool) {
	switch c := in.client; {
	case c.o.Command == nil:
		in.refuse(cmd, "this device takes no commands over MQTT", "use the page or the command line")
	case len(cmd.payload) > commandLimit:
		in.refuse(cmd, fmt.Sprintf("a command of %d bytes; the limit is %d", len(cmd.payload), commandLimit), "send one action as JSON")
	case retained:
		in.refuse(cmd, "a retained command, which would be done again after each reconnect", "publish it without the retain flag, and clear the topic")
	case !in.allow(time.Now()):
		in.refuse(cmd, "too many commands at once", "send it again, with the same id, in a few seconds")
	default:
		select {
		case c.commands <- cmd:
			c.taken.Add(1)
		default:
			in.refuse(cmd, "too many commands waiting", "send it again, with the same id, in a few seconds")
		}
	}
}

// allow is a token bucket: a burst, then one command an interval.
func (in *intake) allow(now time.Time) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	w := in.client.waits
	in.level = min(float64(w.commandBurst), in.level+float64(now.Sub(in.at))/float64(w.commandInterval))
	in.at = now
	if in.level < 1 {
		return false
	}
	in.level--
	return true
}

func (in *intake) refuse(cmd command, text, hint string) {
	in.client.refused.Add(1)
	r := refusal{Error: "command refused: " + text, Hint: hint}
	if len(cmd.payload) <= commandLimit {
		var caller struct{ ID string }
		_ = json.Unmarshal(cmd.payload, &caller) // without an id the answer carries none
		r.ID = caller.ID
	}
	in.mu.Lock()
	defer in.mu.Unlock()
	if _, known := in.refused[cmd.station]; !known && len(in.refused) >= refusedStations {
		return
	}
	r.Refused = in.refused[cmd.station].Refused + 1
	in.refused[cmd.station] = r
	select {
	case in.answer <- struct{}{}:
	default:
	}
}

// refusals takes what is to be answered.
func (in *intake) refusals() map[string]refusal {
	in.mu.Lock()
	defer in.mu.Unlock()
	r := in.refused
	in.refused = map[string]refusal{}
	return r
}

// work does commands one after the other and answers them, refused ones at a bounded rate.
func (c *Client) work(ctx context.Context) {
	var rested <-chan time.Time
	answer := c.intake.answer
	for {
		select {
		case <-ctx.Done():
			return
		case cmd := <-c.commands:
			c.reply(ctx, cmd.station, c.o.Command(ctx, cmd.station, cmd.payload))
		case <-answer:
			for station, r := range c.intake.refusals() {
				c.log.Warn("commands refused", "station", station, "why", r.Error, "count", r.Refused)
				b, err := json.Marshal(r)
				if err == nil {
					c.reply(ctx, station, b)
				}
			}
			answer, rested = nil, time.After(c.waits.refusals)
		case <-rested:
			answer = c.intake.answer
		}
	}
}

// reply publishes an answer. If the link is gone it is lost: whoever asked asks again, with the same id.
func (c *Client) reply(ctx context.Context, station string, payload []byte) {
	if len(payload) == 0 {
		return
	}
	l := c.current()
	if l == nil {
		return
	}
	if err := l.publish(ctx, c.topic(station, "reply"), false, payload); err != nil {
		c.log.Debug("answer to a command lost", "station", station, "error", err)
	}
}
