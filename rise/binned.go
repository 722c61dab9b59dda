package rise

// bin is the mean of the levels of a few minutes, weighted by their precision.
type bin struct {
	n int
	// weight, hours and level are Σ1/r, Σt/r and Σy/r.
	weight, hours, level float64
	rounding             float64
	// temp is the sample's temperature at the last of them, °C.
	temp Num
}

// binHours is the width of a bin. It is no more than a tenth of what anything is fitted over.
const binHours = 2.0 / 60

func (b bin) at() float64       { return b.hours / b.weight }
func (b bin) mean() float64     { return b.level / b.weight }
func (b bin) variance() float64 { return 1 / b.weight }

func (b *bin) add(t, y, r float64) {
	b.n++
	b.weight += 1 / r
	b.hours += t / r
	b.level += y / r
}

// binned is the levels of a run so far, let in and carried on, in bins in the order of time. Bins without a level are
// left out.
type binned struct {
	bins []bin
	cell int // the number of the last bin since the run's start
}

// add takes a level with the variance r. It reports whether a new bin began.
func (h *binned) add(t, y, r float64) bool {
	cell := int(min(t, 1e6) / binHours)
	if len(h.bins) > 0 && cell <= h.cell {
		h.bins[len(h.bins)-1].add(t, y, r)
		return false
	}
	h.cell = cell
	h.bins = append(h.bins, bin{})
	h.bins[len(h.bins)-1].add(t, y, r)
	return true
}

// since is the bins from a time on.
func (h *binned) since(t float64) []bin {
	i := len(h.bins)
	for i > 0 && h.bins[i-1].at() >= t {
		i--
	}
	return h.bins[i:]
}

// cut drops the bins that began after a time.
func (h *binned) cut(t float64) {
	n := len(h.bins)
	for n > 0 && h.bins[n-1].at() > t {
		n--
	}
	h.bins = h.bins[:n]
	if n > 0 {
		h.cell = int(h.bins[n-1].at() / binHours)
	}
}
