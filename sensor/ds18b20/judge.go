package ds18b20

import (
	"fmt"
	"time"

	"nightjar/sensor"
)

// What a kitchen can have, in thousandths of a °C: from a freezer with some to spare to boiling water, in which people
// check their thermometers. The sensor itself would go from −55 to 125 °C.
const (
	coldest = -40_000
	hottest = 105_000
)

// Values that arrive intact and are mostly untrue.
const (
	powerOn  = 85_000  // the register's content before the first conversion (data sheet, table 1)
	starved  = 127_937 // 07FF: too little current during the conversion
	floating = -62     // FFFF
	grounded = 0       // 0000
)

// A neighbour makes a suspicious value believable: a reading at most neighbourFor ago from which it can be reached at
// fastest, and never further than reachMost, or a probe that was lost for some minutes would be believed everything. Even
// one pulled out of a refrigerator and dropped into warm water settles at about this rate in its steel sleeve; common
// practice, no source.
const (
	neighbourFor = 10 * time.Minute
	fastest      = 10_000 // thousandths of a °C a minute
	reachMost    = 15_000
)

// suspicious tells of a value by itself that it needs a second look.
func suspicious(milli int) bool {
	return milli == powerOn || milli == starved || milli == floating || milli == grounded
}

// judge decides whether a value that arrived intact can be true. It remembers the last one that it let pass.
type judge struct {
	milli int
	at    time.Duration
	any   bool
}

// admit returns an error for a value, in thousandths of a °C, that is not to be believed. at is the time since boot.
func (j *judge) admit(milli int, at time.Duration) error {
	if err := j.doubt(milli, at); err != nil {
		return err
	}
	j.milli, j.at, j.any = milli, at, true
	return nil
}

func (j *judge) doubt(milli int, at time.Duration) error {
	switch {
	case milli == starved:
		return fmt.Errorf("127.937 °C is what it says with too little current: give it a third wire for power: %w", sensor.ErrBadValue)
	case milli < coldest || milli > hottest:
		return fmt.Errorf("%.1f °C is beyond any kitchen: %w", float64(milli)/1000, sensor.ErrBadValue)
	case milli == powerOn && !j.near(milli, at):
		return fmt.Errorf("85.000 °C is what it says before it has measured (power lost?): %w", sensor.ErrBadValue)
	case milli == floating && !j.near(milli, at):
		return fmt.Errorf("-0.062 °C is what a floating line gives: %w", sensor.ErrBadValue)
	}
	return nil
}

// near reports whether the value lies within a plausible rate of the last one.
func (j *judge) near(milli int, at time.Duration) bool {
	dt := at - j.at
	if !j.any || dt < 0 || dt > neighbourFor {
		return false
	}
	reach := min(max(1000, int(dt.Minutes()*fastest)), reachMost)
	return max(milli-j.milli, j.milli-milli) <= reach
}
