package rise

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/sensor/sim/dough"
)

// TestPredict_SameOnEveryMachine: the figures below are amd64's; other machines fuse multiplications with additions and
// have their own exponential, and must still agree to nine significant digits. Run it on them by
//
//	GOARCH=arm64 go test -c -o rise.test ./rise && (cd rise && qemu-aarch64 ../rise.test -test.run SameOnEveryMachine)
func TestPredict_SameOnEveryMachine(t *testing.T) {
	want := [][4]float64{
		{9.071311873, 10.20687483, 14.26928696, 0.9771327064},
		{11.38533179, 12.10611083, 14.45949628, 0.8927593958},
		{11.37298615, 11.64459898, 12.10889863, 0.9999998348},
		{11.29335257, 11.35910563, 11.52786824, 1},
		{8.263717854, 9.204481696, 12.48415502, 0.9844086725},
		{9.943875738, 10.52715781, 12.43135529, 0.9634926685},
		{9.871449216, 10.06097093, 10.38385197, 0.9999999973},
		{9.933550328, 9.988216454, 10.12551561, 1},
		{7.354026801, 8.715163927, 13.80952733, 0.974206032},
		{7.267416711, 7.754566271, 9.353656169, 0.9756619306},
		{7.40931328, 7.593954354, 7.912065168, 0.9999996968},
		{7.4975163, 7.552936034, 7.697964301, 1},
		{5.817687934, 6.247126004, 7.761687437, 0.9997876006},
		{6.536225292, 6.794782519, 7.580522429, 0.9938140636},
		{6.675558022, 6.796520338, 7.004130037, 0.999999149},
		{6.710703253, 6.744717934, 6.832802248, 1},
	}
	f, k := new(Forecaster), 0
	for _, m := range []dough.Mechanism{dough.Monod, dough.Film, publishedCurve, plainBalance} {
		n := newTrialNight(m, 2007, 1)
		for _, at := range n.mark[:4] {
			require.GreaterOrEqual(t, at, 0)
			got := f.Predict(n.at(at))
			figures := [4]float64{got.P10.Or(0), got.P50.Or(0), got.P90.Or(0), got.Chance.Or(0)}
			for i := range figures {
				assert.InEpsilon(t, want[k][i], figures[i], 1e-9, "%s at %v", m, n.progress.Hours[at])
			}
			k++
		}
	}
}

// folded is the last forecast of a simulated night up to an hour, its levels scaled and its clock set forward.
func folded(t *testing.T, scale float64, forward time.Duration, every int) Forecast {
	t.Helper()
	n := newTrialNight(dough.Monod, 2011, 2)
	tr, err := NewTracker(Case{Run: Run{Kind: RunDough, Target: n.progress.Target}})
	require.NoError(t, err)
	var e Estimate
	for i := 0; i <= n.mark[2]; i += every {
		at := time.Duration(n.progress.Hours[i] * float64(time.Hour))
		e = tr.Add(Reading{Stamp: Stamp{Boot: 1, At: at}, Time: nightStart.Add(at + forward), LevelMM: Known(32 * scale * n.progress.Multiple[i]), JarC: n.progress.TempC[i]})
	}
	require.False(t, e.Forecast.P50.IsZero(), e.Forecast.Reason)
	return e.Forecast
}

// TestForecast_Invariances: shifting the clock shifts the forecast, scaling all levels leaves it alone, and so, nearly,
// does reading a fifth as often.
func TestForecast_Invariances(t *testing.T) {
	plain := folded(t, 1, 0, 1)
	const ahead = 7*time.Hour + 13*time.Minute
	shifted := folded(t, 1, ahead, 1)
	assert.Equal(t, plain.P10.Add(ahead), shifted.P10)
	assert.Equal(t, plain.P50.Add(ahead), shifted.P50)
	assert.Equal(t, plain.P90.Add(ahead), shifted.P90)
	scaled := folded(t, 1.25, 0, 1)
	assert.WithinDuration(t, plain.P50, scaled.P50, 90*time.Second)
	assert.WithinDuration(t, plain.P90, scaled.P90, 5*time.Minute)
	assert.WithinDuration(t, plain.P50, folded(t, 1, 0, 5).P50, 10*time.Minute)
}
