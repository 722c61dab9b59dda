package bell

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// fresh is how long a test that somebody acknowledged speaks for its route.
const fresh = 30 * 24 * time.Hour

// Proof is a test of a route that a person has acknowledged.
type Proof struct {
	Route string
	// Config is a fingerprint of the configuration that the route had then.
	Config string
	Acked  time.Time
}

// Reach reports whether a route is known to reach a person: one whose newest acknowledged test is younger than 30 days
// and was made with the route's present configuration. routes holds that configuration's fingerprint by route. If there
// is none, why says so, and what to do, as the end of a sentence that begins with "this run cannot wake you".
func Reach(routes map[string]string, proofs []Proof, now time.Time) (ok bool, why string) {
	if len(routes) == 0 {
		return false, "no route is set up that could reach a person; set up [mqtt] or a [[push]]"
	}
	var stale []string
	for _, p := range proofs {
		config, there := routes[p.Route]
		switch age := now.Sub(p.Acked); {
		case !there:
		case config != p.Config:
			stale = append(stale, p.Route+" was set up anew since its last test")
		case age > fresh:
			stale = append(stale, fmt.Sprintf("%s was last tested %d days ago", p.Route, int(age.Hours()/24)))
		default:
			return true, ""
		}
	}
	slices.Sort(stale)
	if stale = slices.Compact(stale); len(stale) == 0 {
		stale = []string{"no test was ever acknowledged"}
	}
	return false, fmt.Sprintf("no route is known to reach a person (%s); run nightjar notify test, and answer it from your phone",
		strings.Join(stale, "; "))
}
