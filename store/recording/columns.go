package recording

import (
	"strconv"
	"time"

	"nightjar/rise"
)

// The names of columns that the code speaks of.
const (
	colTime   = "time"
	colRange  = "range_mm"
	colLevel  = "level_mm"
	colAction = "action"
	colBoot   = "boot"
	colBootS  = "boot_s"
)

// Raw names the columns of what was measured and done, Derived those of what follows from it, in written order.
var (
	Raw = []string{
		colTime, colRange, "jar_c", "dough_c", "room_c", "room_rh", "spread_mm", "valid", "of", "signal", "ambient",
		"sigma_mm", "statuses", "fault", colAction, colBoot, colBootS,
	}
	Derived = []string{
		colLevel, "multiple", "multiple_u", "rise_pct", "rate_pct_h", "phase", "eta_p10", "eta_p50", "eta_p90", "reason",
		"dough_multiple",
	}
)

// pow10 holds the powers that fixed needs.
var pow10 = [...]int64{1, 10, 100, 1000, 10000}

// fixed appends steps of 10^-digits as a decimal number.
func fixed(b []byte, steps int64, digits int) []byte {
	if steps < 0 {
		b = append(b, '-')
		steps = -steps
	}
	p := pow10[digits]
	b = strconv.AppendInt(b, steps/p, 10)
	if digits == 0 {
		return b
	}
	b = append(b, '.')
	frac := steps % p
	for p /= 10; p > 0; p /= 10 {
		b = append(b, byte('0'+frac/p%10))
	}
	return b
}

// num appends a number that may be unknown, rounded to digits after the point.
func num(b []byte, n rise.Num, digits int) []byte {
	if s, ok := n.Steps(float64(pow10[digits])); ok {
		return fixed(b, s, digits)
	}
	return b
}

// temperature appends °C with as many of four digits after the point as there are.
func temperature(b []byte, n rise.Num) []byte {
	s, ok := n.Steps(rise.StepsPerC)
	if !ok {
		return b
	}
	b = fixed(b, s, 4)
	for b[len(b)-1] == '0' {
		b = b[:len(b)-1]
	}
	if b[len(b)-1] == '.' {
		b = append(b, '0')
	}
	return b
}

// clock appends times as RFC 3339 in UTC to the millisecond; it keeps the text of the day between them.
type clock struct {
	day  int64 // since 1970, of text
	text [11]byte
	any  bool
}

func (c *clock) append(b []byte, t time.Time) []byte {
	if t.IsZero() {
		return b
	}
	ms := t.Round(time.Millisecond).UnixMilli()
	day := ms / 86_400_000
	rest := ms % 86_400_000
	if rest < 0 {
		day, rest = day-1, rest+86_400_000
	}
	if !c.any || day != c.day {
		text := time.Unix(day*86400, 0).UTC().Format("2006-01-02T")
		if len(text) != len(c.text) { // a year beyond 9999
			return t.UTC().AppendFormat(b, time.RFC3339)
		}
		copy(c.text[:], text)
		c.day, c.any = day, true
	}
	b = append(b, c.text[:]...)
	h, m, s := rest/3_600_000, rest/60_000%60, rest/1000%60
	b = append(b, byte('0'+h/10), byte('0'+h%10), ':', byte('0'+m/10), byte('0'+m%10), ':', byte('0'+s/10), byte('0'+s%10))
	if ms := rest % 1000; ms != 0 {
		b = append(b, '.', byte('0'+ms/100), byte('0'+ms/10%10), byte('0'+ms%10))
	}
	return append(b, 'Z')
}

// quote appends a text as a CSV field.
func quote(b []byte, s string) []byte {
	plain := true
	for i := range len(s) {
		if c := s[i]; c == '"' || c == ',' || c == '\n' || c == '\r' || (i == 0 && c == ' ') {
			plain = false
			break
		}
	}
	if plain {
		return append(b, s...)
	}
	b = append(b, '"')
	for i := range len(s) {
		if s[i] == '"' {
			b = append(b, '"')
		}
		b = append(b, s[i])
	}
	return append(b, '"')
}
