//go:build slow

package rise

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/sensor/sim/dough"
)

var update = flag.Bool("update", false, "draw the figures anew")

// TestForecastFigures draws three held-out nights, by two mechanisms, with the forecast as it stood at 25, 50 and 75 % of
// the rise; the drawings are those of the documentation.
func TestForecastFigures(t *testing.T) {
	for name, n := range map[string]*trialNight{
		"forecast-steady":  kitchenNight(t, dough.Monod, "steady"),
		"forecast-cooling": kitchenNight(t, dough.Film, "cooling"),
		"forecast-warming": kitchenNight(t, dough.Film, "warming"),
	} {
		file := filepath.Join("..", "testdata", "figures", name+".svg")
		got := n.figure()
		if *update {
			require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o755))
			require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		assert.Equal(t, string(want), got, name)
	}
}

// kitchenNight is the first held-out night to ×2 by a mechanism in a kind of kitchen.
func kitchenNight(t *testing.T, m dough.Mechanism, kitchen string) *trialNight {
	for _, n := range heldOutPart.nights(m, 6) {
		if n.kitchen == kitchen && n.reached && n.progress.Target == 2 {
			return n
		}
	}
	t.Fatalf("no night in a %s kitchen", kitchen)
	return nil
}

// The figures' frame, px.
const (
	figureW, figureH           = 640, 340
	figureLeft, figureBottom   = 46, 40
	figureRight, figureTop     = 16, 34
	figureLowest, figureHigher = 0.9, 0.25 // multiples at the foot, and above the target
)

// figure draws the night.
func (n *trialNight) figure() string {
	end := n.truth + 1.5
	var told []Prediction
	for _, j := range judged {
		told = append(told, new(Forecaster).Predict(n.at(n.mark[j])))
		end = max(end, told[len(told)-1].P90.Or(0)+0.4)
	}
	x := func(h float64) float64 { return figureLeft + (figureW-figureLeft-figureRight)*h/end }
	y := func(m float64) float64 {
		span := n.progress.Target + figureHigher - figureLowest
		return figureH - figureBottom - (figureH-figureBottom-figureTop)*(m-figureLowest)/span
	}
	var b strings.Builder
	put := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	put(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="sans-serif" font-size="12" fill="#333">`, figureW, figureH)
	put(`<rect width="%d" height="%d" fill="#fff"/>`, figureW, figureH)
	put(`<text x="%d" y="20">A simulated dough in a %s kitchen: what was foretold at 25, 50 and 75 %% of its rise</text>`, figureLeft, n.kitchen)
	for m := 1.0; m <= n.progress.Target+0.01; m += 0.25 {
		put(`<line x1="%d" x2="%d" y1="%.1f" y2="%.1f" stroke="#ddd"/><text x="%d" y="%.1f" text-anchor="end">×%.2f</text>`, figureLeft, figureW-figureRight, y(m), y(m), figureLeft-6, y(m)+4, m)
	}
	for h := 0; float64(h) <= end; h++ {
		put(`<text x="%.1f" y="%d" text-anchor="middle">%d h</text>`, x(float64(h)), figureH-16, h)
	}
	n.drawRise(put, x, y, end)
	put(`<line x1="%.1f" x2="%.1f" y1="%d" y2="%.1f" stroke="#333" stroke-dasharray="4 3"/>`, x(n.truth), x(n.truth), figureTop, y(figureLowest))
	for row, j := range judged {
		got := told[row]
		made, at := n.progress.Hours[n.mark[j]], y(1.42-0.16*float64(row))
		put(`<circle cx="%.1f" cy="%.1f" r="4" fill="#333"/>`, x(made), y(1+trialShares[j]*(n.progress.Target-1)))
		put(`<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="#c60" stroke-width="7" stroke-linecap="round" opacity="0.5"/>`, x(got.P10.Or(0)), x(got.P90.Or(0)), at, at)
		put(`<circle cx="%.1f" cy="%.1f" r="4.5" fill="#c60"/><text x="%.1f" y="%.1f" text-anchor="end">at %.0f %%</text>`, x(got.P50.Or(0)), at, x(got.P10.Or(0))-10, at+4, 100*trialShares[j])
	}
	put(`</svg>`)
	return b.String()
}

// drawRise draws the measured multiple, every fifth reading.
func (n *trialNight) drawRise(put func(string, ...any), x, y func(float64) float64, end float64) {
	var points []string
	for i := 0; i < len(n.progress.Hours) && n.progress.Hours[i] <= end; i += 5 {
		if m := n.progress.Multiple[i]; m < n.progress.Target+figureHigher {
			points = append(points, fmt.Sprintf("%.1f,%.1f", x(n.progress.Hours[i]), y(m)))
		}
	}
	put(`<polyline points="%s" fill="none" stroke="#468" stroke-width="1.5"/>`, strings.Join(points, " "))
}
