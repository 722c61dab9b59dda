package rise

// calibration is how far the time still to go lies from what the posterior expects, by the share of the rise that is behind:
// the 10 and 90 % quantiles of (ln true − ln expected)/spread over simulated nights by unlike mechanisms, without past runs
// and with five. A posterior that knows only its own model is too sure where that is wrong, and too doubtful where its
// priors are wider than doughs are. Up to a quarter of the rise, where mechanisms differ most, they are the 8 and 92 %
// quantiles: on a mechanism that was not among them the coverage is some points less.
//
// The figures are split-conformal quantiles over the nights of starters that nothing else was looked at on; they are found
// anew by
//
//	go test -tags slow -run Calibration -v ./rise
var calibration = [...]struct {
	share         float64
	alone, taught interval
}{
	{0.05, interval{-0.73, 1.76}, interval{-0.76, 1.68}},
	{0.25, interval{-0.81, 1.95}, interval{-0.70, 1.66}},
	{0.50, interval{-0.86, 1.26}, interval{-0.85, 0.92}},
	{0.75, interval{-0.66, 1.47}, interval{-0.79, 1.27}},
	{0.90, interval{-0.68, 1.96}, interval{-0.80, 1.94}},
}

// interval is the ends of a forecast's interval, in spreads about the median.
type interval struct{ low, high float64 }

// towards is the interval a share of the way to another.
func (a interval) towards(b interval, share float64) interval {
	return interval{a.low + share*(b.low-a.low), a.high + share*(b.high-a.high)}
}

// calibrated is the interval at a share of the rise with so many past runs: between the rows and columns of calibration
// in proportion.
func calibrated(share float64, past int) interval {
	rows := calibration[:]
	for len(rows) > 2 && share > rows[1].share {
		rows = rows[1:]
	}
	a, b := rows[0], rows[1]
	along := min(1, max(0, (share-a.share)/(b.share-a.share)))
	taught := min(1, float64(past)/5)
	return a.alone.towards(b.alone, along).towards(a.taught.towards(b.taught, along), taught)
}
