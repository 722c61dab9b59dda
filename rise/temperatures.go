package rise

// temperatures keeps the sample's temperature smoothed, its mean, and thermal time.
type temperatures struct {
	// now is the smoothed temperature, last the newest one, °C, at is when, h.
	now, last Num
	at        float64
	// sum and hours are Σc·dt and Σdt until frozen.
	sum, hours float64
	frozen     bool
	// thermal is the time that growth at 25 °C would have taken for what the temperature allowed so far, h.
	thermal float64
}

// tempSmoothHours is the time constant of the smoothed temperature, h.
const tempSmoothHours = 10.0 / 60

// plausibleC tells whether a kitchen can have a temperature, °C.
func plausibleC(n Num) (float64, bool) {
	c, ok := n.Get()
	return c, ok && c > -30 && c < 80
}

// add takes a reading's temperature.
func (t *temperatures) add(hours float64, r Reading) {
	c, ok := plausibleC(r.TempC())
	if !ok {
		return
	}
	if last, known := t.last.Get(); known {
		dt := hours - t.at
		now := t.now.Or(c)
		t.now = Known(now + (c-now)*dt/(dt+tempSmoothHours))
		t.thermal += dt * (t.pace(last) + t.pace(c)) / 2
		if !t.frozen {
			t.sum, t.hours = t.sum+dt*(last+c)/2, t.hours+dt
		}
	} else {
		t.now = Known(c)
	}
	t.last, t.at = Known(c), hours
}

// pace is thermal hours per hour at a temperature.
func (t *temperatures) pace(c float64) float64 {
	yeast := SourdoughYeast()
	return yeast.Rate(c) / yeast.Rate(referenceC)
}

// mean is the mean temperature until it was frozen, °C.
func (t *temperatures) mean() Num {
	if t.hours <= 0 {
		return t.last
	}
	return Known(t.sum / t.hours)
}
