package rise

import "math"

// haze tells fog on the ranger's window from a rise. Both shorten the range. But dough that comes nearer gives more light
// back, or, where the chip dims its receivers to keep the light alike, just as much; light from the window crowds the
// dough's out instead, so that the signal falls or the chip's own spread (sigma) grows while the range shortens.
type haze struct {
	// now is the newest view, smoothed; clear holds those of the last while at which there was no fog.
	now   view
	clear []view
	// before is how clear it was before the fog that there is now: the mean of the clear views, at the time of the last.
	before view
	fogged bool
	// most is the most by which sigma grew and signal fell in this fog.
	most view
	// strange counts the last readings in a row that looked at something else.
	strange int
	// rough is the variance by which single readings' sigma and signal lie about the smoothed ones.
	rough view
}

// view is how a reading saw its target: natural logarithms of range, sigma and signal, 0 where the chip does not tell. Where
// the light is known, sigma is what it would be without the change that the light itself makes to it: the spread of a range
// grows with the square root of all light, from target, window and lamps, over the target's own.
type view struct {
	hours               float64
	dist, sigma, signal float64
}

// The limits of fog: the share of a shortening of the range by which the spread must grow, or half the share by which the
// signal must fall, the least shortening, and the least change of spread or signal that is told from none, all of
// logarithms. A view is smoothed over hazeSmooth hours and compared with those of the last hazeHours.
const (
	hazeShare  = 0.15
	hazeNearer = 0.008
	hazeLeast  = 0.008
	hazeSmooth = 3.0 / 60
	hazeHours  = 40.0 / 60
	// hazeViews is how many clear views make a comparison.
	hazeViews = 5
)

// see takes a usable reading and reports whether there is fog. began tells that it has just been noticed.
func (z *haze) see(hours float64, r Reading) (fogged, began bool) {
	v, ok := viewOf(hours, r)
	if !ok {
		return z.fogged, false
	}
	if z.other(v) {
		return z.fogged, false
	}
	z.smooth(v)
	switch {
	case z.fogged:
		z.fogged = !z.cleared()
		if !z.fogged {
			z.clear = z.clear[:0]
		}
	case len(z.clear) >= hazeViews:
		ref := z.reference()
		began = z.foggier(ref)
		if began {
			z.fogged, z.before, z.most = true, ref, view{}
			z.before.hours = z.lastClear(ref)
		}
	}
	return z.fogged, began
}

// viewOf is what a reading tells of the light; false where the chip tells nothing.
func viewOf(hours float64, r Reading) (view, bool) {
	d, ok := r.RangeMM.Get()
	sigma, hasSigma := r.SigmaMM.Get()
	signal, hasSignal := r.SignalMcps.Get()
	if !ok || d < 1 || !hasSigma && !hasSignal {
		return view{}, false
	}
	v := view{hours: hours, dist: math.Log(d)}
	if hasSigma && sigma > 0 {
		v.sigma = math.Log(sigma)
		if ambient, ok := r.AmbientMcps.Get(); ok && hasSignal && signal+ambient > 0 {
			v.sigma -= math.Log(signal+ambient) / 2
		}
	}
	if hasSignal && signal > 0 {
		v.signal = math.Log(signal)
	}
	return v, true
}

// hazeOther is how far, as a logarithm, a range may be from the smoothed one before it is one of something else: a hand, a
// lid, the shelf. Five of those in a row are a new view.
const hazeOther = 0.15

// other reports whether a reading looked at something else.
func (z *haze) other(v view) bool {
	if z.now == (view{}) || math.Abs(v.dist-z.now.dist) <= hazeOther {
		z.strange = 0
		return false
	}
	z.strange++
	if z.strange >= 5 {
		z.now, z.strange = v, 0
		return false
	}
	return true
}

// smooth follows the newest view, at once after a gap.
func (z *haze) smooth(v view) {
	dt := v.hours - z.now.hours
	k := dt / (dt + hazeSmooth)
	if z.now == (view{}) || dt > hazeHours {
		z.now = v
		return
	}
	sigma, signal := v.sigma-z.now.sigma, v.signal-z.now.signal
	z.rough.sigma += (min(sigma*sigma, hazeLeast) - z.rough.sigma) / 40
	z.rough.signal += (min(signal*signal, hazeLeast) - z.rough.signal) / 40
	z.now.hours = v.hours
	z.now.dist += k * (v.dist - z.now.dist)
	z.now.sigma += k * sigma
	z.now.signal += k * signal
}

// doubt is the standard deviation of the smoothed view.
func (z *haze) doubt() view {
	const k = 1.0 / 13 // share/(2 − share) of exponential smoothing with readings at a sixth of the time constant
	return view{sigma: math.Sqrt(z.rough.sigma * k), signal: math.Sqrt(z.rough.signal * k)}
}

// reference is the mean of the clear views.
func (z *haze) reference() view {
	var m view
	n := float64(len(z.clear))
	for _, c := range z.clear {
		m.dist += c.dist / n
		m.sigma += c.sigma / n
		m.signal += c.signal / n
	}
	return m
}

// foggier reports whether the range has shortened since the clear views in the way of fog.
func (z *haze) foggier(ref view) bool {
	nearer := ref.dist - z.now.dist
	if nearer < hazeNearer {
		return false
	}
	doubt := z.doubt()
	limit := hazeShare*nearer + hazeLeast
	return z.now.sigma-ref.sigma > limit+4*doubt.sigma || ref.signal-z.now.signal > limit/2+4*doubt.signal
}

// suspect reports whether there may be the beginning of a fog: too little to hold the level, enough to ring nothing yet.
func (z *haze) suspect() bool {
	if z.fogged || len(z.clear) < hazeViews {
		return z.fogged
	}
	ref, doubt := z.reference(), z.doubt()
	return z.now.sigma-ref.sigma > hazeLeast+2.5*doubt.sigma || ref.signal-z.now.signal > hazeLeast+2.5*doubt.signal
}

// cleared reports whether spread and signal are as they were before the fog, or nearly so after having been much worse.
func (z *haze) cleared() bool {
	doubt := z.doubt()
	worse := view{sigma: z.now.sigma - z.before.sigma, signal: z.before.signal - z.now.signal}
	z.most.sigma, z.most.signal = max(z.most.sigma, worse.sigma), max(z.most.signal, worse.signal)
	return worse.sigma < max(hazeLeast+2*doubt.sigma, 0.35*z.most.sigma) && worse.signal < max(hazeLeast+2*doubt.signal, 0.35*z.most.signal)
}

// keep remembers the newest view as a clear one, one each two minutes.
func (z *haze) keep() {
	if n := len(z.clear); z.fogged || z.strange > 0 || z.now == (view{}) || n > 0 && z.now.hours-z.clear[n-1].hours < binHours {
		return
	}
	old := 0
	for old < len(z.clear) && z.now.hours-z.clear[old].hours > hazeHours {
		old++
	}
	z.clear = append(z.clear[:copy(z.clear, z.clear[old:])], z.now)
}

// unveiled reports whether the range has lengthened since the last clear views in the way of fog that goes: a thin one that
// had not been noticed.
func (z *haze) unveiled() bool {
	recent := z.clear[max(0, len(z.clear)-5):]
	if z.fogged || len(recent) < 3 {
		return false
	}
	before := (&haze{clear: recent}).reference()
	farther, doubt := z.now.dist-before.dist, z.doubt()
	return farther > hazeNearer && (before.sigma-z.now.sigma > hazeShare*farther+3*doubt.sigma ||
		z.now.signal-before.signal > hazeShare*farther+3*doubt.signal)
}

// lastClear is when spread and signal were last no worse than usual.
func (z *haze) lastClear(ref view) float64 {
	doubt := z.doubt()
	for i := len(z.clear) - 1; i > 0; i-- {
		c := z.clear[i]
		if c.sigma-ref.sigma < hazeLeast/2+doubt.sigma/2 && ref.signal-c.signal < hazeLeast/2+doubt.signal/2 {
			return c.hours
		}
	}
	return z.clear[0].hours
}
