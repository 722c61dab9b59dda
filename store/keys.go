package store

import (
	"encoding/binary"
	"strings"
	"time"

	"nightjar/rise"
)

// The top buckets.
var (
	bucketMeta      = []byte("meta")
	bucketBoots     = []byte("boots")
	bucketAnchors   = []byte("anchors")
	bucketReadings  = []byte("readings")
	bucketActions   = []byte("actions")
	bucketActionIDs = []byte("actionids")
	bucketRuns      = []byte("runs")
	bucketOpen      = []byte("open")
	bucketJars      = []byte("jars")
	bucketStarters  = []byte("starters")
	bucketRecipes   = []byte("recipes")
	bucketSummaries = []byte("summaries")
	bucketAlerts    = []byte("alerts")
	bucketAlertIDs  = []byte("alertids")
	bucketActive    = []byte("active")
	bucketOutbox    = []byte("outbox")
	bucketSettled   = []byte("settled")
)

var (
	keySchema = []byte("schema")
	keyDevice = []byte("device")
)

func key32(n uint32) []byte { return binary.BigEndian.AppendUint32(nil, n) }

func keyNumber(b []byte) uint32 {
	if len(b) != 4 {
		return 0
	}
	return binary.BigEndian.Uint32(b)
}

// appendStamp appends 12 bytes that sort as stamps do; times before a boot count as its beginning.
func appendStamp(b []byte, s rise.Stamp) []byte {
	b = binary.BigEndian.AppendUint32(b, s.Boot)
	return binary.BigEndian.AppendUint64(b, uint64(max(0, s.At)))
}

func keyStamp(b []byte) (rise.Stamp, bool) {
	if len(b) < 12 {
		return rise.Stamp{}, false
	}
	return rise.Stamp{Boot: binary.BigEndian.Uint32(b), At: time.Duration(binary.BigEndian.Uint64(b[4:12]))}, true
}

// cleanName checks a name that becomes part of a key.
func cleanName(what, s string) error {
	if s == "" || len(s) > 255 || strings.ContainsRune(s, 0) {
		return hintf("Give it a name of 1 to 255 bytes.", "%s name %q: %w", what, s, ErrInvalid)
	}
	return nil
}

// alertKey identifies a ring of an alert: station, run, kind, episode, and the count of rings.
func alertKey(a rise.Alert) []byte {
	b := alertPrefix(a.Station, a.Run)
	b = append(append(b, a.Kind...), 0)
	b = binary.BigEndian.AppendUint32(b, uint32(a.Episode))
	return binary.BigEndian.AppendUint32(b, uint32(a.N))
}

func alertPrefix(station string, run int) []byte {
	return binary.BigEndian.AppendUint32(stationPrefix(station), uint32(run))
}

func stationPrefix(station string) []byte { return append([]byte(station), 0) }
