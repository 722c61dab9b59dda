package rise

// phases follows where in its rise the sample is.
type phases struct {
	phase Phase
	// top is the highest smoothed multiple, topAt when, h.
	top, topAt float64
	// since is the run time since which a change of phase has been asked for, h; asked is which.
	asked Phase
	since float64
}

// The phases' limits. A multiple of risenFrom counts as risen whatever the rate; a fall is told once the multiple is below
// the peak by fallen, or by four times its random uncertainty if that is more. A change must hold for phaseHours.
const (
	risenFrom  = 1.05
	fallen     = 0.05
	peakHours  = 25.0 / 60
	phaseHours = 10.0 / 60
	// slowPct is a rate below which a risen sample counts as standing still, % of the base volume per hour.
	slowPct = 3.0
)

// state is what the phases are told by.
type state struct {
	hours float64
	point
	// ratePct is the rate with its standard uncertainty, % of the base volume per hour.
	ratePct, ratePctU float64
	rated             bool
	// ready tells that the target has been reached.
	ready bool
}

// name is the phase, settling at first.
func (p *phases) name() Phase {
	if p.phase == "" {
		return PhaseSettling
	}
	return p.phase
}

// mayFall reports whether a drop of the level may be a true fall: the sample has risen and has stopped rising.
func (p *phases) mayFall() bool { return p.phase == PhasePeaked || p.phase == PhaseFalling }

// forget makes the present the new start: the base was set anew, or a person worked on the sample.
func (p *phases) forget() { *p = phases{} }

// advance moves on to the next reading.
func (p *phases) advance(s state) {
	if !s.known {
		return
	}
	if s.multiple > p.top {
		p.top, p.topAt = s.multiple, s.hours
	}
	next := p.next(s)
	switch {
	case next == p.phase:
		p.asked = ""
	case p.phase == "" || next == PhaseReady:
		p.phase, p.asked = next, ""
	case next != p.asked:
		p.asked, p.since = next, s.hours
	case s.hours-p.since >= phaseHours:
		p.phase, p.asked = next, ""
	}
}

// next is the phase that the present speaks for.
func (p *phases) next(s state) Phase {
	rising := s.rated && s.ratePct > max(2*s.ratePctU, slowPct/3)
	still := s.rated && s.ratePct < slowPct
	down := s.rated && s.ratePct < 0
	below := p.top - s.multiple
	switch {
	case p.top > 1+2*fallen && below > max(fallen, 4*s.random) && (down || p.phase == PhaseFalling && !rising):
		return PhaseFalling
	case p.top > 1+2*fallen && still && s.hours-p.topAt >= peakHours:
		return PhasePeaked
	case p.mayFall() && !(s.rated && s.ratePct > max(3*s.ratePctU, slowPct)):
		return p.phase
	case s.ready:
		return PhaseReady
	case rising || s.multiple > risenFrom+2*s.random:
		return PhaseRising
	}
	return PhaseWaiting
}
