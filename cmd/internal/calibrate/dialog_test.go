package calibrate_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/calibrate"
	"nightjar/cmd/internal/config"
	"nightjar/cmd/internal/desk"
	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/storetest"
)

// bench is a sensor over a jar whose floor is 140 mm away and whose walls shorten what it sees by 4 % of the height.
// A person's answers move the card.
type bench struct {
	*desk.Desk
	db     *store.DB
	rng    *rand.Rand
	now    time.Time
	level  float64 // of the card
	offset float64 // of the mounting
	// see changes a burst before it is taken; nil leaves it.
	see func(*rise.Burst)
}

const (
	trueFloor = 140.0
	trueScale = 1.04 // mm of surface for each mm of range
)

type clock struct{ b *bench }

func (c clock) Wall() time.Time                            { return c.b.now }
func (c clock) Boot() time.Duration                        { return time.Hour }
func (c clock) Sleep(context.Context, time.Duration) error { panic("a desk does not wait") }

func newBench(t *testing.T) *bench {
	t.Helper()
	b := &bench{rng: rand.New(rand.NewPCG(7, 7)), now: time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC), db: storetest.Open(t)}
	b.Desk = &desk.Desk{Store: b.db, Clock: clock{b}, Stations: config.Default().Stations}
	b.Stations[0].Chip = "vl53l4cd"
	return b
}

func (b *bench) Burst(_ context.Context, _ string) (rise.Burst, error) {
	b.now = b.now.Add(time.Second)
	mm := trueFloor - b.level/trueScale + b.offset + b.rng.NormFloat64()/math.Sqrt(20)
	burst := rise.Burst{RangeMM: rise.Known(mm), SpreadMM: rise.Known(1), Valid: 20, Of: 20, SignalMcps: rise.Known(8)}
	if b.see != nil {
		b.see(&burst)
	}
	return burst, nil
}

func (b *bench) Fit(_ context.Context, c api.Calibration) (api.Calibrated, error) {
	return b.Desk.Fit(c)
}

func (b *bench) AddJar(_ context.Context, j rise.Jar) (rise.Jar, error) { return b.Desk.AddJar(j) }

// person types a line at a time, and does something before each.
type person struct {
	lines []string
	does  map[int]func()
	n     int
}

func (p *person) Read(b []byte) (int, error) {
	if p.n >= len(p.lines) {
		return 0, io.EOF
	}
	if do := p.does[p.n]; do != nil {
		do()
	}
	p.n++
	return copy(b, p.lines[p.n-1]+"\n"), nil
}

func dialog(b *bench, p *person, out io.Writer) *calibrate.Dialog {
	return &calibrate.Dialog{
		API: b, In: p, Out: out, Station: "main", CardMM: 0.3, Warm: 10 * time.Minute, Least: 30 * time.Second, Now: func() time.Time { return b.now },
		Jar: rise.Jar{Name: "tall", Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 90}},
	}
}

// steady is a person who does everything right: card on the floor, stacks of 30 and 60 mm, three times the lid.
func steady(b *bench) *person {
	return &person{
		lines: []string{"", "30", "60,0", "", "", "", "", "y"},
		does: map[int]func(){
			0: func() { b.level = 0.3 }, 1: func() { b.level = 30 }, 2: func() { b.level = 60 },
			4: func() { b.offset = 0.3 }, 5: func() { b.offset = -0.2 }, 6: func() { b.offset = 0.1 },
		},
	}
}

func TestACalibrationFindsFloorScaleAndMounting(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var out bytes.Buffer
	begun := b.now
	require.NoError(t, dialog(b, steady(b), &out).Run(t.Context()))
	j, err := b.db.Jar("tall", 0)
	require.NoError(t, err)
	assert.Equal(t, 1, j.Version)
	assert.InDelta(t, trueScale, j.Scale, 3*j.UScale)
	assert.Less(t, j.UScale, 0.02)
	for _, level := range []float64{30, 45, 60} {
		u := math.Hypot(j.UFloorMM, j.UScale*(level-j.PivotMM))
		assert.InDelta(t, level, j.Level(trueFloor-level/trueScale), 3*u, "level %g", level)
		assert.Less(t, u, 0.6)
	}
	assert.Greater(t, j.URepeatMM, 0.1)
	assert.Less(t, j.URepeatMM, 1.0)
	for _, want := range []string{"warms up for 10m0s", "near 30 and 60 mm", "floor ", "1 mm is 3.3 % rise", "jar tall@1 is ready"} {
		assert.Contains(t, out.String(), want)
	}
	assert.Greater(t, b.now.Sub(begun), 10*time.Minute+5*30*time.Second, "it warms up, and looks long enough")
}

func TestBreakingOffChangesNothing(t *testing.T) {
	t.Parallel()
	whole := steady(newBench(t)).lines
	for n := range len(whole) {
		b := newBench(t)
		p := steady(b)
		p.lines = p.lines[:n]
		require.ErrorContains(t, dialog(b, p, io.Discard).Run(t.Context()), "nothing was changed")
		jars, err := b.Jars()
		require.NoError(t, err)
		assert.Empty(t, jars, "after %d answers", n)
	}
	b := newBench(t)
	p := steady(b)
	p.lines[len(p.lines)-1] = "no"
	require.ErrorContains(t, dialog(b, p, io.Discard).Run(t.Context()), "nothing was changed")
	jars, err := b.Jars()
	require.NoError(t, err)
	assert.Empty(t, jars)
}

// What cannot be used is refused by name, and looked at again once it is mended.
func TestTargetsThatCannotBeUsed(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		see  func(n int, b *rise.Burst)
		says string
	}{
		"rocking":  {func(n int, b *rise.Burst) { b.RangeMM = rise.Known(b.RangeMM.Or(0) + 3*float64(n%2)) }, "set the jar so that it does not rock"},
		"drifting": {func(n int, b *rise.Burst) { b.RangeMM = rise.Known(b.RangeMM.Or(0) + 0.1*float64(n)) }, "let the sensor warm up"},
		"fogging": {func(n int, b *rise.Burst) {
			b.RangeMM = rise.Known(b.RangeMM.Or(0) - 0.1*float64(n))
			b.SignalMcps = rise.Known(8 - 0.1*float64(n))
		}, "wipe the sensor's window"},
		"blind": {func(_ int, b *rise.Burst) { b.RangeMM, b.Valid = rise.Num{}, 0 }, "sees nothing it can range"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			p := steady(b)
			n := 0
			p.does[0] = func() {
				b.level = 0.3
				b.see = func(burst *rise.Burst) { n++; tt.see(n, burst) }
			}
			// Mended before the second look: one more line, and everything after it a line later.
			p.lines = append([]string{"", ""}, p.lines[1:]...)
			moved := map[int]func(){0: p.does[0], 1: func() { b.see = nil }}
			for at, do := range p.does {
				if at > 0 {
					moved[at+1] = do
				}
			}
			p.does = moved
			var out bytes.Buffer
			d := dialog(b, p, &out)
			d.Warm = 0
			require.NoError(t, d.Run(t.Context()))
			assert.Contains(t, out.String(), "Cannot use that: ")
			assert.Contains(t, out.String(), tt.says)
			j, err := b.db.Jar("tall", 0)
			require.NoError(t, err)
			assert.InDelta(t, trueScale, j.Scale, 0.03)
		})
	}
}

func TestHeightsThatCannotBe(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	p := steady(b)
	// Not a number, then the floor's own height again, then the right ones.
	p.lines = []string{"", "NaN", "0.5", "30", "60", "", "", "", "", "y"}
	p.does = map[int]func(){
		0: func() { b.level = 0.3 }, 2: func() { b.level = 0.5 }, 3: func() { b.level = 30 }, 4: func() { b.level = 60 },
	}
	var out bytes.Buffer
	d := dialog(b, p, &out)
	d.Warm = 0
	require.NoError(t, d.Run(t.Context()))
	assert.Contains(t, out.String(), `"NaN" is no height`)
	assert.Contains(t, out.String(), "two heights are at one level")
	assert.Contains(t, out.String(), "That height is left out.")
}

// Ctrl-C at a question does not wait for an answer.
func TestTheContextEndsAQuestion(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	terminal, typed := io.Pipe()
	defer typed.Close()
	ctx, cancel := context.WithCancel(t.Context())
	d := dialog(b, nil, io.Discard)
	d.In, d.Warm = terminal, 0
	asked := make(chan error, 1)
	go func() { asked <- d.Run(ctx) }()
	cancel()
	require.ErrorContains(t, <-asked, "nothing was changed")
}

func TestASensorThatIsGoneEndsIt(t *testing.T) {
	t.Parallel()
	gone := errors.New("no answer at 0x29")
	_, err := calibrate.Eye{Burst: func(context.Context) (rise.Burst, error) { return rise.Burst{}, gone }, WantMM: 0.1, Now: time.Now}.Look(t.Context())
	require.ErrorIs(t, err, gone)
}

func TestTheLookNeverEndsOnATargetThatIsTooNoisy(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	bursts := 0
	e := calibrate.Eye{WantMM: 0.01, Now: time.Now, Burst: func(context.Context) (rise.Burst, error) {
		bursts++
		return rise.Burst{RangeMM: rise.Known(100 + rng.NormFloat64()), SpreadMM: rise.Known(4.5), Valid: 20, Of: 20}, nil
	}}
	_, err := e.Look(t.Context())
	require.ErrorContains(t, err, "only after 120 bursts")
	assert.Equal(t, 120, bursts)
	assert.False(t, strings.Contains(err.Error(), "NaN"))
}

func TestALongLookIsNotGivenUp(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	now := time.Unix(1_790_000_000, 0)
	e := calibrate.Eye{WantMM: 0.1, Least: 3 * time.Minute, Now: func() time.Time { return now }, Burst: func(context.Context) (rise.Burst, error) {
		now = now.Add(time.Second) // 180 bursts
		return rise.Burst{RangeMM: rise.Known(100 + 0.2*rng.NormFloat64()), SpreadMM: rise.Known(1), Valid: 20, Of: 20}, nil
	}}
	a, err := e.Look(t.Context())
	require.NoError(t, err)
	assert.InDelta(t, 100, a.RangeMM, 0.1)
}
