package mqtt

import (
	"strconv"
	"strings"
	"sync"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// acks is the library's ordered memory store with an ear: the library deletes a published packet from its store when
// it has read the PUBACK, and at no other time.
type acks struct {
	paho.Store

	mu      sync.Mutex
	waiting map[uint16]*ack
}

type ack struct {
	seen chan struct{} // closed by the PUBACK
	once sync.Once
	// Both sides have been here: the publisher for the channel, the library with the PUBACK.
	taken, done bool
}

func newAcks() *acks {
	return &acks{Store: paho.NewOrderedMemoryStore(), waiting: map[uint16]*ack{}}
}

// Put is called within Publish, before the packet can be on the wire.
func (a *acks) Put(key string, m packets.ControlPacket) {
	if p, ok := m.(*packets.PublishPacket); ok && strings.HasPrefix(key, "o.") {
		a.mu.Lock()
		a.waiting[p.MessageID] = &ack{seen: make(chan struct{})}
		a.mu.Unlock()
	}
	a.Store.Put(key, m)
}

// Del is called when the acknowledgement has been read.
func (a *acks) Del(key string) {
	a.Store.Del(key)
	number, out := strings.CutPrefix(key, "o.")
	id, err := strconv.ParseUint(number, 10, 16)
	if !out || err != nil {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if w := a.waiting[uint16(id)]; w != nil {
		w.once.Do(func() { close(w.seen) })
		w.done = true
		a.forget(uint16(id), w)
	}
}

// of returns the channel that is closed by the PUBACK of a packet just published. It is nil, and so never ready, for a
// packet that did not reach the store. It must be called once for each packet.
func (a *acks) of(id uint16) <-chan struct{} {
	a.mu.Lock()
	defer a.mu.Unlock()
	w := a.waiting[id]
	if w == nil {
		return nil
	}
	w.taken = true
	a.forget(id, w)
	return w.seen
}

func (a *acks) forget(id uint16, w *ack) {
	if w.taken && w.done {
		delete(a.waiting, id)
	}
}
