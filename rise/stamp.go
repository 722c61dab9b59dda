package rise

import (
	"cmp"
	"time"
)

// Stamp is the moment of a reading or an action as a machine without a clock chip knows it: which boot, and how long
// after that boot began (CLOCK_BOOTTIME). Order in time is the order of stamps, always; wall time is derived from
// them by a Timeline and may be corrected later.
type Stamp struct {
	// Boot is the store's own number of the boot, from 1; 0 stands for a recording without boots.
	Boot uint32 `json:"boot"`
	// At is the time since that boot began, in JSON as nanoseconds.
	At time.Duration `json:"at"`
}

// Compare orders stamps: negative if s is before o, zero if they are equal, positive if s is after o.
func (s Stamp) Compare(o Stamp) int {
	return cmp.Or(cmp.Compare(s.Boot, o.Boot), cmp.Compare(s.At, o.At))
}

// Before reports whether s is earlier than o.
func (s Stamp) Before(o Stamp) bool { return s.Compare(o) < 0 }

// IsZero reports whether s is the zero Stamp.
func (s Stamp) IsZero() bool { return s == Stamp{} }

// TimeQuality says how far a wall time can be believed.
type TimeQuality string

// The qualities of a wall time.
const (
	// TimeSynced comes from an anchor of the same boot taken while the clock was synchronised.
	TimeSynced TimeQuality = "synced"
	// TimeEstimated comes from a clock that was not, or not yet, known to be synchronised.
	TimeEstimated TimeQuality = "estimated"
	// TimeUnknown has no anchor at all.
	TimeUnknown TimeQuality = "unknown"
)

// Anchor ties a boot's own time to wall time at one moment.
type Anchor struct {
	Stamp
	// Wall is what the wall clock said at the stamp, UTC.
	Wall time.Time `json:"wall"`
	// Synced tells that the clock was known to be synchronised then.
	Synced bool `json:"synced"`
}
