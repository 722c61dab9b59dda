package broker

import (
	"bytes"
	"cmp"
	"maps"
	"slices"
	"strings"
	"sync"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

const (
	// maxSessions bounds the clients that are remembered while they are away.
	maxSessions = 64
	// maxRetained bounds the topics with a retained message.
	maxRetained = 1024
)

// door is the hook through which the broker's life is seen: who may in, what a subscriber has acknowledged.
type door struct {
	mochi.HookBase
	o      Options
	server *mochi.Server
	own    credential

	mu       sync.Mutex
	count    uint64
	inFlight map[flight]sent
}

// flight is a message on its way to a subscriber.
type flight struct {
	client string
	packet uint16
}

type sent struct {
	arrival uint64 // order of arrival
	topic   string
	payload []byte
}

func newDoor(o Options, s *mochi.Server, own credential) *door {
	return &door{o: o, server: s, own: own, inFlight: map[flight]sent{}}
}

// ID names the hook.
func (d *door) ID() string { return "nightjar" }

// Provides lists the hook's methods to the library.
func (d *door) Provides(b byte) bool {
	return bytes.IndexByte([]byte{
		mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnSessionEstablish, mochi.OnSessionEstablished,
		mochi.OnSubscribed, mochi.OnPublish, mochi.OnQosPublish, mochi.OnQosDropped,
		mochi.OnPacketProcessed, mochi.OnDisconnect,
	}, b) >= 0
}

// OnConnectAuthenticate lets known users in, or all where there are none, as long as there is room.
func (d *door) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	own := d.own.is(pk.Connect.Username, pk.Connect.Password)
	if d.o.Users != nil && !own && (strings.HasPrefix(cl.ID, ownID) || !d.o.Users.admit(string(pk.Connect.Username), pk.Connect.Password)) {
		d.o.Logger.Warn("embedded broker: wrong user or password", "user", string(pk.Connect.Username), "from", cl.Net.Remote)
		return false
	}
	if _, known := d.server.Clients.Get(cl.ID); !known && d.server.Clients.Len() >= maxSessions {
		d.forgetSession()
	}
	return true
}

// forgetSession ends the session of the client that has been away longest.
func (d *door) forgetSession() {
	var oldest *mochi.Client
	for _, cl := range d.server.Clients.GetAll() {
		if cl.Closed() && (oldest == nil || cl.StopTime() < oldest.StopTime()) {
			oldest = cl
		}
	}
	if oldest != nil {
		oldest.ClearInflights()
		d.server.UnsubscribeClient(oldest)
		d.server.Clients.Delete(oldest.ID)
	}
}

// OnACLCheck keeps the broker's own topics readable only, and asks who may do what where there are users.
func (d *door) OnACLCheck(cl *mochi.Client, topic string, write bool) bool {
	if write && strings.HasPrefix(topic, "$") {
		return false
	}
	user := string(cl.Properties.Username)
	return d.o.Users == nil || user == d.own.user || d.o.Access.may(user, cl.ID, topic, write)
}

// OnPublish refuses a retained message on a new topic when there are too many.
func (d *door) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if !pk.FixedHeader.Retain || len(pk.Payload) == 0 || d.server.Topics.Retained.Len() < maxRetained {
		return pk, nil
	}
	if _, known := d.server.Topics.Retained.Get(pk.TopicName); !known {
		d.o.Logger.Warn("embedded broker: too many retained topics, the message is passed on but not kept", "topic", pk.TopicName, "client", cl.ID)
		pk.FixedHeader.Retain = false
	}
	return pk, nil
}

// OnSessionEstablish puts what a returning client missed into the order of arrival: the library sorts it by its
// creation in whole seconds, of which it looks at the lowest 16 bits.
func (d *door) OnSessionEstablish(cl *mochi.Client, _ packets.Packet) {
	before, ok := d.server.Clients.Get(cl.ID)
	if !ok {
		d.forget(cl.ID)
		return
	}
	missed := before.State.Inflight.GetAll(false)
	d.mu.Lock()
	slices.SortFunc(missed, func(a, b packets.Packet) int {
		return cmp.Compare(d.inFlight[flight{cl.ID, a.PacketID}].arrival, d.inFlight[flight{cl.ID, b.PacketID}].arrival)
	})
	d.mu.Unlock()
	for i, pk := range missed {
		pk.Created = int64(i)
		before.State.Inflight.Set(pk)
	}
}

// OnSessionEstablished tells of the subscriptions that a returning client had.
func (d *door) OnSessionEstablished(cl *mochi.Client, _ packets.Packet) {
	for _, sub := range cl.State.Subscriptions.GetAll() {
		d.subscribed(cl, sub.Filter, sub.Qos)
	}
}

// OnSubscribed tells of new subscriptions.
func (d *door) OnSubscribed(cl *mochi.Client, pk packets.Packet, granted []byte) {
	for i, sub := range pk.Filters {
		d.subscribed(cl, sub.Filter, granted[i])
	}
}

func (d *door) subscribed(cl *mochi.Client, filter string, qos byte) {
	if d.o.Subscribed != nil && (qos == 1 || qos == 2) {
		d.o.Subscribed(cl.ID, filter)
	}
}

// OnQosPublish notes a message on its way to a subscriber, also when it is sent again to one that has returned.
func (d *door) OnQosPublish(cl *mochi.Client, pk packets.Packet, _ int64, _ int) {
	if pk.FixedHeader.Type != packets.Publish {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	key := flight{cl.ID, pk.PacketID}
	if _, known := d.inFlight[key]; known && pk.FixedHeader.Dup {
		return
	}
	d.count++
	d.inFlight[key] = sent{d.count, pk.TopicName, pk.Payload}
}

// OnPacketProcessed tells of a message that a subscriber has acknowledged. The library's own notion of completion
// does not serve: it keeps the packets to and from a client under the same numbers, so that a publish by a subscriber
// completes, or hides, a message on its way to it.
func (d *door) OnPacketProcessed(cl *mochi.Client, pk packets.Packet, _ error) {
	last := pk.FixedHeader.Type == packets.Puback || pk.FixedHeader.Type == packets.Pubcomp
	if !last || pk.ReasonCode >= packets.ErrUnspecifiedError.Code {
		return
	}
	if s, ok := d.land(cl, pk); ok && d.o.Acknowledged != nil {
		d.o.Acknowledged(s.topic, s.payload)
	}
}

// OnQosDropped forgets a message that will not arrive.
func (d *door) OnQosDropped(cl *mochi.Client, pk packets.Packet) { d.land(cl, pk) }

// OnDisconnect forgets what was on its way to a client without a session.
func (d *door) OnDisconnect(cl *mochi.Client, _ error, expire bool) {
	if expire {
		d.forget(cl.ID)
	}
}

func (d *door) forget(client string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	maps.DeleteFunc(d.inFlight, func(f flight, _ sent) bool { return f.client == client })
}

func (d *door) land(cl *mochi.Client, pk packets.Packet) (sent, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	key := flight{cl.ID, pk.PacketID}
	s, ok := d.inFlight[key]
	delete(d.inFlight, key)
	return s, ok
}
