package rise

// course keeps what a run's summary tells.
type course struct {
	// lastHours and last are the previous multiple.
	lastHours, last float64
	any             bool
	crossed         Num // run time of reaching the target, h
	top, topHours   Num
}

// add takes a multiple. Falling back below the release before the alert was decided takes the crossing back.
func (c *course) add(hours, multiple, target, release float64, confirmed bool) {
	switch {
	case c.crossed.IsKnown():
		if multiple < release && !confirmed {
			c.crossed = Num{}
		}
	case multiple >= target:
		c.crossed = Known(hours)
		if c.any && multiple > c.last {
			c.crossed = Known(c.lastHours + (hours-c.lastHours)*(target-c.last)/(multiple-c.last))
		}
	}
	if !c.top.IsKnown() || multiple > c.top.Or(0) {
		c.top, c.topHours = Known(multiple), Known(hours)
	}
	c.lastHours, c.last, c.any = hours, multiple, true
}

// Summary is what the run so far teaches about its starter.
func (t *Tracker) Summary() Summary {
	s := Summary{Run: t.run, Algorithm: Algorithm, MeanC: t.temps.mean()}
	if !t.base.known {
		return s
	}
	s.BaseMM = Known(t.base.level)
	s.PeakMultiple, s.PeakHours, s.TargetHours = t.course.top, t.course.topHours, t.course.crossed
	progress := t.progress()
	s.Milestones = Curve{progress.Hours, progress.Multiple, progress.TempC}.Milestones()
	if growth := t.outlook.forecaster.Predict(progress).Growth; growth != nil {
		s.Growth = growth
	} else {
		s.Growth = append([]float64(nil), t.outlook.growth...)
	}
	return s
}
