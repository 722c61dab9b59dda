package broker

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/storage"
	"github.com/mochi-mqtt/server/v2/packets"
)

// saveEvery bounds how often the file is written: each time costs the card some blocks.
const saveEvery = 10 * time.Minute

// kept keeps the retained messages of others in a file over a restart. The file is replaced as a whole, so that it is
// never half written; if it is damaged it is put aside.
type kept struct {
	mochi.HookBase
	path, own string
	log       *slog.Logger

	mu       sync.Mutex
	messages map[string]retained
	changed  bool
}

type retained struct {
	Payload []byte `json:"payload"`
	QoS     byte   `json:"qos"`
}

func newKept(o Options) *kept {
	k := &kept{path: o.Keep, own: o.Own, log: o.Logger, messages: map[string]retained{}}
	text, err := os.ReadFile(k.path)
	if errors.Is(err, fs.ErrNotExist) {
		return k
	}
	if err == nil {
		err = json.Unmarshal(text, &k.messages)
	}
	if err != nil {
		k.messages = map[string]retained{}
		aside := k.path + ".damaged"
		k.log.Warn("embedded broker: the retained messages of others cannot be read and are put aside", "file", aside, "error", err,
			"aside", os.Rename(k.path, aside))
	}
	return k
}

// ID names the hook.
func (k *kept) ID() string { return "kept" }

// Provides lists the hook's methods to the library.
func (k *kept) Provides(b byte) bool {
	return bytes.IndexByte([]byte{mochi.OnRetainMessage, mochi.StoredRetainedMessages}, b) >= 0
}

// OnRetainMessage notes a change.
func (k *kept) OnRetainMessage(_ *mochi.Client, pk packets.Packet, _ int64) {
	if strings.HasPrefix(pk.TopicName, "$") || (k.own != "" && strings.HasPrefix(pk.TopicName, k.own)) {
		return
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	before, known := k.messages[pk.TopicName]
	switch {
	case len(pk.Payload) == 0:
		delete(k.messages, pk.TopicName)
		k.changed = k.changed || known
	case !known || !bytes.Equal(before.Payload, pk.Payload):
		k.messages[pk.TopicName] = retained{pk.Payload, pk.FixedHeader.Qos}
		k.changed = true
	}
}

// StoredRetainedMessages hands the library what was kept, as if it had just come.
func (k *kept) StoredRetainedMessages() ([]storage.Message, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	var ms []storage.Message
	for topic, r := range k.messages {
		ms = append(ms, storage.Message{
			TopicName: topic, Payload: r.Payload, Created: time.Now().Unix(),
			FixedHeader: packets.FixedHeader{Type: packets.Publish, Retain: true, Qos: r.QoS},
		})
	}
	return ms, nil
}

// run saves changes from time to time until ctx ends.
func (k *kept) run(ctx context.Context) {
	tick := time.NewTicker(saveEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			k.save()
		}
	}
}

// save writes the file if something has changed.
func (k *kept) save() {
	k.mu.Lock()
	defer k.mu.Unlock()
	if !k.changed {
		return
	}
	text, err := json.MarshalIndent(k.messages, "", " ")
	if err == nil {
		err = replace(k.path, text)
	}
	if err != nil {
		k.log.Warn("embedded broker: the retained messages of others cannot be kept", "error", err)
		return
	}
	k.changed = false
}

// replace writes a file so that after a power cut it is the old one or the new one.
func replace(path string, text []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("keep retained messages: %w", err)
	}
	defer os.Remove(f.Name()) // gone after the rename
	_, err = f.Write(text)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("keep retained messages: %w", err)
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("keep retained messages: %w", err)
	}
	return errors.Join(dir.Sync(), dir.Close())
}
