package rise

import "math"

// smoother follows the level causally: a Kalman filter whose state is the level and its velocity, the velocity a random
// walk (Harvey 1989, Forecasting, Structural Time Series Models and the Kalman Filter, local linear trend). It takes
// readings at any spacing, and its doubt grows by itself where there are none. Time is in hours, level in mm.
type smoother struct {
	t, x, v       float64
	pxx, pxv, pvv float64
	begun         bool
}

// restlessness is the variance that the velocity gathers in an hour, as a share of the squared level: a starter that
// comes from rest to 0.5 of its base volume an hour within the hour has about this. Smoothing depends on it only by its
// eighth root.
const restlessness = 0.3

// begin starts at a first level with the variance r. The velocity is unknown within half the level an hour.
func (s *smoother) begin(t, y, r float64) {
	v := 0.5 * scaleOf(y)
	*s = smoother{t: t, x: y, pxx: r, pvv: v * v, begun: true}
}

// scaleOf is the level that velocities are compared with: never so low that the filter would stiffen.
func scaleOf(level float64) float64 { return min(max(level, 10), 500) }

// predicted is the state carried on to a later time.
func (s smoother) predicted(t float64) smoother {
	dt := t - s.t
	if dt <= 0 {
		return s
	}
	scale := scaleOf(s.x)
	q := restlessness * scale * scale
	s.t = t
	s.x += s.v * dt
	s.pxx += 2*dt*s.pxv + dt*dt*s.pvv + q*dt*dt*dt/3
	s.pxv += dt*s.pvv + q*dt*dt/2
	// A velocity is never more doubtful than it was at the beginning: dough has limits.
	s.pvv = min(s.pvv+q*dt, scale*scale)
	return s
}

// updated is the predicted state after a level y with the variance r.
func (s smoother) updated(y, r float64) smoother {
	k := s.pxx + r
	if k <= 0 {
		return s
	}
	gx, gv, d := s.pxx/k, s.pxv/k, y-s.x
	s.x += gx * d
	s.v += gv * d
	s.pvv = math.Max(s.pvv-gv*s.pxv, 0)
	s.pxv *= 1 - gx
	s.pxx *= 1 - gx
	return s
}
