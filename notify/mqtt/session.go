package mqtt

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"syscall"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// connections opens one connection after the other until ctx ends.
func (c *Client) connections(ctx context.Context) {
	var wait time.Duration
	for ctx.Err() == nil {
		began := time.Now()
		err := c.connection(ctx)
		if ctx.Err() != nil {
			return
		}
		t := c.trouble(err)
		c.down(t)
		limit := c.waits.lastRetry
		if t.lasting {
			limit = c.waits.refusedRetry
		}
		if time.Since(began) > c.waits.shortLife {
			wait = 0
			c.told = ""
		}
		wait = min(max(2*wait, c.waits.firstRetry), limit)
		select {
		case <-ctx.Done():
		case <-time.After(wait/2 + rand.N(wait/2)): // spread, so that many devices do not come back all at once
		}
	}
}

// connection is one connection: it returns why there is none any more, or nil after a stop.
func (c *Client) connection(ctx context.Context) error {
	l, err := c.dial(ctx)
	if err != nil {
		return err
	}
	defer l.close()
	if err := c.subscribe(ctx, l); err != nil {
		return err
	}
	c.unsent()
	if _, err := c.publishNext(ctx, l); err != nil { // the birth, before anything else
		return c.over(ctx, l)
	}
	c.up(l)
	defer c.noLink()
	for {
		more, err := c.publishNext(ctx, l)
		switch {
		case err != nil:
			return c.over(ctx, l)
		case more:
			continue
		}
		select {
		case <-ctx.Done():
			return c.over(ctx, l)
		case <-l.lost:
			return c.over(ctx, l)
		case <-c.wake:
		}
	}
}

// publishNext publishes one retained message that the broker does not have yet, if there is one.
func (c *Client) publishNext(ctx context.Context, l *link) (published bool, err error) {
	topic, r, due := c.next()
	if !due {
		return false, nil
	}
	if err := l.publish(ctx, topic, true, r.payload); err != nil {
		return false, err
	}
	c.sent(topic, r.version)
	return true, nil
}

// over ends a connection: with a farewell after a stop, else with the reason that it is of no more use.
func (c *Client) over(ctx context.Context, l *link) error {
	if ctx.Err() != nil && l.reason() == nil {
		c.farewell(l)
		return nil
	}
	return c.ended(l)
}

// subscribe asks for commands and for what tells to publish again. The broker may refuse: then there are no commands.
func (c *Client) subscribe(ctx context.Context, l *link) error {
	filters := map[string]byte{c.topic("+", "command"): 1, c.topic("availability"): 1}
	if c.o.Announce != "" {
		filters[c.o.Announce] = 1
	}
	token := l.client.SubscribeMultiple(filters, nil).(*paho.SubscribeToken)
	select {
	case <-token.Done():
	case <-time.After(c.waits.ack):
		l.end(errNoAck)
		return errNoAck
	case <-l.lost:
		return c.ended(l)
	case <-ctx.Done():
		return ctx.Err()
	}
	for filter, code := range token.Result() {
		if code == 0x80 {
			c.log.Warn("the broker refuses a subscription: check its access rules", "filter", filter)
		}
	}
	return nil
}

// farewell says offline and waits for that to be acknowledged: a clean end suppresses the will.
func (c *Client) farewell(l *link) {
	ctx, cancel := context.WithTimeout(context.Background(), c.waits.farewell)
	defer cancel()
	if err := l.publish(ctx, c.topic("availability"), true, []byte("offline")); err != nil {
		c.log.Warn("stopped without saying offline; the broker's last will does that", "error", err)
		l.end(err) // no DISCONNECT, so that the will is sent
	}
}

func (c *Client) up(l *link) {
	c.accepted.Add(1)
	c.mu.Lock()
	c.link = l
	c.status = Status{Connected: true, Since: time.Now()}
	short := c.short
	c.mu.Unlock()
	if short < takeovers {
		c.log.Info("connected")
	}
	c.Kick()
}

func (c *Client) noLink() {
	c.mu.Lock()
	c.link = nil
	c.mu.Unlock()
}

// down notes why there is no link and logs it if that is new: a link that keeps coming and going is told once.
func (c *Client) down(t trouble) {
	c.mu.Lock()
	was := c.status
	c.status = Status{Since: was.Since, Trouble: t.text, Hint: t.hint}
	if was.Connected {
		c.status.Since = time.Now()
	}
	c.mu.Unlock()
	if c.told != t.text {
		c.told = t.text
		c.log.Warn("no link to the broker", "why", t.text, "hint", t.hint)
	}
}

// ended counts the connections that the broker itself ended soon after it had accepted them: a second client with the
// same id does that to the first, in turns (MQTT-3.1.4-2).
func (c *Client) ended(l *link) error {
	why := l.reason()
	c.mu.Lock()
	defer c.mu.Unlock()
	byBroker := errors.Is(why, io.EOF) || errors.Is(why, syscall.ECONNRESET)
	if byBroker && time.Since(l.began) < c.waits.shortLife {
		c.short++
	} else {
		c.short = 0
	}
	return why
}
