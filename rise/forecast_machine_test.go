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
		{5.7488059104, 6.602659428, 9.6960467315, 0.9826529381},
		{5.6916409358, 6.2755966148, 8.2566135122, 0.98919399187},
		{5.6213547495, 5.9922482794, 7.1388079448, 0.99628573383},
		{5.6407750928, 5.8778501548, 6.4282087078, 0.99999999358},
		{5.6347881027, 5.7657942354, 5.9943492073, 0.99999999947},
		{5.7114181921, 5.7722137644, 5.9115048102, 1},
		{5.7920971979, 5.8187625479, 5.9052041946, 1},
		{5.8385212605, 7.0892791463, 12.36731052, 0.97073770671},
		{5.8652158769, 6.6305017734, 9.4197634103, 0.98848360176},
		{5.7632397077, 6.1908084868, 7.5400140605, 0.99819720324},
		{5.7270040215, 5.9781004862, 6.5616636236, 0.99999999981},
		{5.6743656001, 5.8081102241, 6.0410443781, 0.99999999999},
		{5.7255709018, 5.786532213, 5.9259686089, 1},
		{5.796379102, 5.8226880486, 5.9076168071, 1},
	}
	f, k := new(Forecaster), 0
	for _, inoculation := range []float64{8, 20} {
		for hours := 2.5; hours < 5.9; hours += 0.5 {
			p := made(rising, hours, 25, 0.005)
			for i, h := range p.Hours {
				p.TempC[i] = Known(26 - 0.4*h)
			}
			p.InoculationPct = Known(inoculation)
			got := f.Predict(p)
			for i, figure := range []Num{got.P10, got.P50, got.P90, got.Chance} {
				assert.InEpsilon(t, want[k][i], figure.Or(0), 1e-9, "%v h, %v %%", hours, inoculation)
			}
			k++
		}
	}
	assert.Len(t, want, k)
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
