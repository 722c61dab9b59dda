package watch

import (
	"slices"
	"strings"
	"sync"

	"nightjar/cmd/internal/api"
	"nightjar/sensor"
)

// health is the list of what is wrong now.
type health struct {
	clock sensor.Clock
	mu    sync.Mutex
	wrong []api.Health
}

// raise notes that something is wrong and reports whether that is news. A changed text is news, but since stays.
func (h *health) raise(name, station, text string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if i := h.find(name, station); i >= 0 {
		news := h.wrong[i].Text != text
		h.wrong[i].Text = text
		return news
	}
	h.wrong = append(h.wrong, api.Health{Name: name, Station: station, Since: h.clock.Wall(), Text: text})
	slices.SortFunc(h.wrong, func(a, b api.Health) int {
		return strings.Compare(a.Station+"/"+a.Name, b.Station+"/"+b.Name)
	})
	return true
}

// clear notes that it is right again and reports whether that is news.
func (h *health) clear(name, station string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	i := h.find(name, station)
	if i < 0 {
		return false
	}
	h.wrong = slices.Delete(h.wrong, i, i+1)
	return true
}

func (h *health) find(name, station string) int {
	return slices.IndexFunc(h.wrong, func(x api.Health) bool { return x.Name == name && x.Station == station })
}

func (h *health) list() []api.Health {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.wrong)
}

// Raise notes a condition of another part of the daemon, such as the broker, and reports whether that is news.
func (w *Watch) Raise(name, text string) bool { return w.health.raise(name, "", text) }

// Clear notes that such a condition is over and reports whether that is news.
func (w *Watch) Clear(name string) bool { return w.health.clear(name, "") }

// Health lists what is wrong now.
func (w *Watch) Health() []api.Health { return w.health.list() }
