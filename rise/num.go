package rise

import (
	"encoding/json"
	"math"
	"strconv"
)

// Num is a number that may be unknown. Its zero value is unknown. It is never NaN or infinite.
//
// In JSON an unknown Num is null; in text it is the empty string.
type Num struct {
	v  float64
	ok bool
}

// Known returns v as a Num. NaN and infinity are unknown: this is the one door at which they are stopped.
func Known(v float64) Num {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Num{}
	}
	return Num{v: v, ok: true}
}

// Get returns the number and whether it is known; an unknown number is returned as 0.
func (n Num) Get() (float64, bool) { return n.v, n.ok }

// IsKnown reports whether the number is known.
func (n Num) IsKnown() bool { return n.ok }

// IsZero reports whether the number is unknown, so that the omitzero option of encoding/json leaves it out.
func (n Num) IsZero() bool { return !n.ok }

// Or returns the number, or d if it is unknown.
func (n Num) Or(d float64) float64 {
	if n.ok {
		return n.v
	}
	return d
}

// Text formats the number with the given count of digits after the point, or returns "" if it is unknown.
func (n Num) Text(digits int) string {
	if !n.ok {
		return ""
	}
	return strconv.FormatFloat(n.v, 'f', digits, 64)
}

// String is Text with the fewest digits that give the number back, or "unknown".
func (n Num) String() string {
	if !n.ok {
		return "unknown"
	}
	return n.Text(-1)
}

// MarshalJSON writes the number, or null if it is unknown.
func (n Num) MarshalJSON() ([]byte, error) {
	if !n.ok {
		return []byte("null"), nil
	}
	return json.Marshal(n.v)
}

// UnmarshalJSON reads a number or null.
func (n *Num) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Num{}
		return nil
	}
	var v float64
	if err := json.Unmarshal(b, &v); err != nil {
		return err
	}
	*n = Known(v)
	return nil
}
