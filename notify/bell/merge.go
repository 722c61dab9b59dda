package bell

import (
	"fmt"
	"strings"
	"time"
)

// Cause is a trouble of a station and what it comes from.
type Cause struct {
	Station string
	// Root is the same for troubles that have one cause: "i2c-1", "power". Empty is a cause of its own.
	Root  string
	Since time.Time
	Text  string
}

// together is how far apart troubles of one cause may begin.
const together = 2 * time.Minute

// Merge joins troubles that have one cause and began together, so that one message tells of all of them: it carries the
// station, the root and the time of the first. The order is that of the first of each.
func Merge(causes []Cause) []Cause {
	var merged []Cause
	stations := [][]string{}
	for _, c := range causes {
		i := first(merged, c)
		if i < 0 {
			merged = append(merged, c)
			stations = append(stations, []string{c.Station})
			continue
		}
		stations[i] = append(stations[i], c.Station)
	}
	for i, names := range stations {
		if len(names) > 1 {
			merged[i].Text = fmt.Sprintf("%s The same at %s.", merged[i].Text, strings.Join(names[1:], ", "))
		}
	}
	return merged
}

// first is the index of the trouble that c belongs to, -1 if there is none.
func first(merged []Cause, c Cause) int {
	for i, m := range merged {
		if c.Root != "" && m.Root == c.Root && c.Since.Sub(m.Since).Abs() <= together {
			return i
		}
	}
	return -1
}
