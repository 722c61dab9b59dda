package vl53l4cd_test

import (
	"context"
	"math"
	"sync"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/recovery"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// stand is a simulated chip with its driver.
type stand struct {
	clock *sim.Clock
	bus   *sim.Bus
	chip  *sim.VL53
	dev   *vl53l4cd.Dev
}

// newStand makes a stand. The options' clock is filled in.
func newStand(t *testing.T, scene sim.Scene, part sim.ChipOpts, opts vl53l4cd.Opts) *stand {
	t.Helper()
	s := &stand{clock: sim.NewClock(dusk, time.Minute)}
	s.chip = sim.NewVL53L4CD(s.clock, scene, part)
	s.bus = sim.NewBus("I2C1", s.chip)
	opts.Clock = s.clock
	var err error
	s.dev, err = vl53l4cd.New(s.bus, vl53l4cd.DefaultAddr, &opts)
	require.NoError(t, err)
	return s
}

func (s *stand) mm(t *testing.T) float64 {
	t.Helper()
	b, err := s.dev.Range(t.Context(), 50)
	require.NoError(t, err)
	return b.RangeMM.Or(math.NaN())
}

var dusk = time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC)

// TestWhatIsInViewIsSaid: whatever a chip may look at comes back as a range or as the reason why there is none.
func TestWhatIsInViewIsSaid(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		view sim.Target
		want rise.Status
	}{
		{"white card", sim.Target{DistanceMM: 100, Reflect: 1}, rise.StatusGood},
		{"grey card at 300 mm", sim.Target{DistanceMM: 300, Reflect: 0.17}, rise.StatusGood},
		{"grey card beyond its reach", sim.Target{DistanceMM: 900, Reflect: 0.17}, rise.StatusWeak},
		{"nothing", sim.Target{None: true}, rise.StatusWeak},
		{"touching", sim.Target{DistanceMM: 0, Reflect: 1}, rise.StatusTooNear},
		{"mirror across the room", sim.Target{DistanceMM: 2000, Reflect: 40}, rise.StatusWrapped},
		{"dark and glaring", sim.Target{DistanceMM: 400, Reflect: 0.2, AmbientMcps: 4000}, rise.StatusNoisy},
	}
	for _, tt := range tests {
		s := newStand(t, sim.Fixed{View: tt.view, C: 23}, sim.ChipOpts{Seed: 3}, vl53l4cd.Opts{})
		b, err := s.dev.Range(t.Context(), 20)
		require.NoError(t, err, tt.name)
		assert.GreaterOrEqual(t, b.Statuses[tt.want], uint16(19), "%s: %v", tt.name, b.Statuses)
		mm, ok := b.RangeMM.Get()
		assert.Equal(t, tt.want == rise.StatusGood, ok, tt.name)
		if ok {
			assert.InDelta(t, tt.view.DistanceMM, mm, 3, tt.name)
		}
	}
}

// TestEveryRawStatus: all 32, upper bits set or not, whatever range comes with them. Only 9 is a range.
func TestEveryRawStatus(t *testing.T) {
	t.Parallel()
	for raw := range byte(32) {
		s := newStand(t, sim.Card(120), sim.ChipOpts{Quiet: true}, vl53l4cd.Opts{})
		s.chip.Spoil(func(b []byte) { b[0] = raw | 0xE0 })
		b, err := s.dev.Range(t.Context(), 5)
		switch raw {
		case 9:
			require.NoError(t, err)
			assert.Equal(t, rise.Known(120), b.RangeMM)
		case 1, 2, 3, 17:
			require.ErrorIs(t, err, sensor.ErrHardware, "status %d", raw)
		default:
			require.NoError(t, err, "status %d", raw)
			assert.Zero(t, b.Valid, "status %d", raw)
		}
	}
}

func TestARangeThatIsNoneIsRefusedWhateverItsStatus(t *testing.T) {
	t.Parallel()
	for _, mm := range []uint16{8190, 8191, 65535} {
		s := newStand(t, sim.Card(120), sim.ChipOpts{Quiet: true}, vl53l4cd.Opts{})
		n := 0
		s.chip.Spoil(func(b []byte) {
			if n++; n%4 == 0 {
				b[13], b[14] = byte(mm>>8), byte(mm)
			}
		})
		b, err := s.dev.Range(t.Context(), 20)
		require.NoError(t, err)
		assert.Equal(t, rise.Known(120), b.RangeMM)
		assert.Equal(t, uint16(5), b.Statuses[rise.StatusOther])
	}
}

func TestAChipThatNeverRangesSaysSo(t *testing.T) {
	t.Parallel()
	s := newStand(t, sim.Card(120), sim.ChipOpts{}, vl53l4cd.Opts{})
	s.chip.Spoil(func(b []byte) { b[0], b[3], b[4], b[13], b[14] = 0, 0, 0, 0xFF, 0xFF })
	_, err := s.dev.Range(t.Context(), 5)
	require.ErrorIs(t, err, sensor.ErrHardware)
	assert.ErrorContains(t, err, "does not range")
	s.chip.Spoil(nil)
	assert.InDelta(t, 120, s.mm(t), 1)
}

func TestOffsetCalibration(t *testing.T) {
	t.Parallel()
	part := sim.ChipOpts{Seed: 5, OffsetMM: 17}
	grey := sim.Fixed{View: sim.Target{DistanceMM: 100, Reflect: 0.17}, C: 23}
	s := newStand(t, grey, part, vl53l4cd.Opts{})
	assert.InDelta(t, 117, s.mm(t), 0.6)
	mm, err := s.dev.CalibrateOffset(t.Context(), 100, 50)
	require.NoError(t, err)
	assert.InDelta(t, 100, s.mm(t), 0.6)
	s.chip.Brownout()
	assert.InDelta(t, 100, s.mm(t), 0.6, "it stands again after a dip of the supply")
	again := newStand(t, grey, part, vl53l4cd.Opts{OffsetMM: rise.Known(mm)})
	assert.InDelta(t, 100, again.mm(t), 0.6, "and when it is given as an option")
}

func TestCrosstalkCalibration(t *testing.T) {
	t.Parallel()
	window := sim.Moving{View: func(at time.Duration) sim.Target {
		return sim.Target{DistanceMM: 150, Reflect: 0.17, CrosstalkMcps: 3}
	}}
	s := newStand(t, window, sim.ChipOpts{Seed: 6}, vl53l4cd.Opts{})
	short := s.mm(t)
	assert.Less(t, short, 125.0, "the window pulls the range near")
	x, err := s.dev.CalibrateCrosstalk(t.Context(), 150, 50)
	require.NoError(t, err)
	assert.InDelta(t, 3000.0/256, x, 0.6, "3 Mcps over 256 receivers, in thousands")
	assert.InDelta(t, 150, s.mm(t), 1.5)
}

func TestCalibrationWithoutATargetKeepsTheOldValues(t *testing.T) {
	t.Parallel()
	there := true
	scene := sim.Moving{View: func(time.Duration) sim.Target {
		return sim.Target{DistanceMM: 100, Reflect: 1, None: !there}
	}}
	s := newStand(t, scene, sim.ChipOpts{Seed: 7, OffsetMM: 5}, vl53l4cd.Opts{OffsetMM: rise.Known(8)})
	was := s.mm(t)
	there = false
	_, err := s.dev.CalibrateOffset(t.Context(), 100, 20)
	require.ErrorIs(t, err, sensor.ErrBadValue)
	assert.ErrorContains(t, err, "card")
	_, err = s.dev.CalibrateCrosstalk(t.Context(), 100, 20)
	require.ErrorIs(t, err, sensor.ErrBadValue)
	there = true
	assert.InDelta(t, was, s.mm(t), 0.6)
	_, err = s.dev.CalibrateOffset(t.Context(), 5, 20)
	require.Error(t, err)
	_, err = s.dev.CalibrateCrosstalk(t.Context(), 100, 4)
	require.Error(t, err)
}

// TestDriftIsCalibratedAway: 0.15 mm/°C over a cooling of 12 °C would be 1.8 mm.
func TestDriftIsCalibratedAway(t *testing.T) {
	t.Parallel()
	warm := 30.0
	scene := sim.Moving{View: sim.Card(120).Target, Temperature: func(time.Duration) float64 { return warm }}
	s := newStand(t, scene, sim.ChipOpts{Seed: 8, DriftMMPerC: 0.15}, vl53l4cd.Opts{})
	tell := func() { s.dev.SetTemperature(physic.ZeroCelsius + physic.Temperature(warm*float64(physic.Kelvin))) }
	tell()
	assert.InDelta(t, 120, s.mm(t), 0.6)
	warm = 18
	assert.InDelta(t, 118.2, s.mm(t), 0.6, "not told")
	tell()
	assert.InDelta(t, 120, s.mm(t), 0.6, "told")
}

func TestAddressChange(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	left := sim.NewVL53L4CD(clock, sim.Card(80), sim.ChipOpts{Quiet: true})
	right := sim.NewVL53L4CD(clock, sim.Card(140), sim.ChipOpts{Quiet: true})
	bus := sim.NewBus("I2C1", left, right)
	lx, rx := left.XSHUT(), right.XSHUT()
	require.NoError(t, lx.Out(false))
	require.NoError(t, rx.Out(false))
	a, err := vl53l4cd.New(bus, 0x30, &vl53l4cd.Opts{Clock: clock, XSHUT: lx})
	require.NoError(t, err)
	b, err := vl53l4cd.New(bus, 0x31, &vl53l4cd.Opts{Clock: clock, XSHUT: rx})
	require.NoError(t, err)
	both := func() {
		for d, want := range map[*vl53l4cd.Dev]float64{a: 80, b: 140} {
			got, err := d.Range(t.Context(), 5)
			require.NoError(t, err)
			assert.Equal(t, rise.Known(want), got.RangeMM, d)
		}
	}
	both()
	right.Brownout() // it is back at 0x29
	both()
}

func TestANeighbourAtTheDefaultAddressIsNotMoved(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	mine := sim.NewVL53L4CD(clock, sim.Card(80), sim.ChipOpts{Quiet: true})
	neighbour := sim.NewVL53L4CD(clock, sim.Card(140), sim.ChipOpts{Quiet: true})
	bus := sim.NewBus("I2C1", mine, neighbour)
	_, err := vl53l4cd.New(bus, 0x30, &vl53l4cd.Opts{Clock: clock, XSHUT: mine.XSHUT()})
	require.ErrorIs(t, err, sensor.ErrIdentity)
	assert.ErrorContains(t, err, "XSHUT")
	assert.True(t, neighbour.Answers(0x29))
	_, err = vl53l4cd.New(bus, 0x30, &vl53l4cd.Opts{Clock: clock})
	require.ErrorIs(t, err, sensor.ErrAbsent, "without a reset line nobody is moved")
	assert.True(t, neighbour.Answers(0x29))
}

func TestASoleChipIsFoundAgainAfterADip(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	chip := sim.NewVL53L4CD(clock, sim.Card(80), sim.ChipOpts{Quiet: true})
	bus := sim.NewBus("I2C1", chip)
	d, err := vl53l4cd.New(bus, 0x30, &vl53l4cd.Opts{Clock: clock, Sole: true})
	require.NoError(t, err)
	assert.True(t, chip.Answers(0x30))
	_, err = d.Range(t.Context(), 5)
	require.NoError(t, err)
	chip.Brownout()
	_, err = d.Range(t.Context(), 5)
	require.NoError(t, err)
	assert.True(t, chip.Answers(0x30))
}

// TestAChipLeftInResetIsLetGo: a program killed between the two writes of a reset leaves the chip's core in reset.
func TestAChipLeftInResetIsLetGo(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	chip := sim.NewVL53L4CD(clock, sim.Card(80), sim.ChipOpts{Quiet: true})
	bus := sim.NewBus("I2C1", chip)
	require.NoError(t, bus.Tx(0x29, []byte{0, 0, 0}, nil))
	d, err := vl53l4cd.New(bus, 0x29, &vl53l4cd.Opts{Clock: clock})
	require.NoError(t, err)
	b, err := d.Range(t.Context(), 5)
	require.NoError(t, err)
	assert.Equal(t, rise.Known(80), b.RangeMM)
}

// TestSettingsOfAnotherProgramDoNotMatter: whatever was set up before, the ranges are right.
func TestSettingsOfAnotherProgramDoNotMatter(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	chip := sim.NewVL53L4CD(clock, sim.Card(80), sim.ChipOpts{Quiet: true})
	bus := sim.NewBus("I2C1", chip)
	for _, w := range [][]byte{{0, 0x30, 0x01}, {0, 0x1E, 0, 0}, {0, 0x16, 0x7F, 0xFF}, {0, 0x5E, 0, 1}, {0, 0x87, 0x21}} {
		require.NoError(t, bus.Tx(0x29, w, nil))
	}
	d, err := vl53l4cd.New(bus, 0x29, &vl53l4cd.Opts{Clock: clock})
	require.NoError(t, err)
	b, err := d.Range(t.Context(), 5)
	require.NoError(t, err)
	assert.Equal(t, rise.Known(80), b.RangeMM)
}

// TestHalfASettingsBlockIsWrittenAgain at every length to which it may be cut.
func TestHalfASettingsBlockIsWrittenAgain(t *testing.T) {
	t.Parallel()
	for keep := 2; keep < 92; keep += 3 {
		s := newStand(t, sim.Card(120), sim.ChipOpts{Quiet: true}, vl53l4cd.Opts{})
		s.bus.Inject(sim.CutWrite(keep))
		b, err := s.dev.Range(t.Context(), 5)
		if err != nil { // a chip so set up may also never be ready
			require.ErrorIs(t, err, sensor.ErrTimeout, "%d bytes", keep)
			b, err = s.dev.Range(t.Context(), 5)
		}
		require.NoError(t, err, "%d bytes", keep)
		assert.Equal(t, rise.Known(120), b.RangeMM, "%d bytes", keep)
		assert.Equal(t, byte(0x9B), s.chip.Register(0x81), "%d bytes", keep)
	}
}

// TestWhatReadsBackOtherwise: a byte that the chip always says otherwise is its own doing, unless the ranging hangs on it.
// 0x005C is one that no public driver reads back; 0x0064 is the sigma threshold.
func TestWhatReadsBackOtherwise(t *testing.T) {
	t.Parallel()
	for reg, refused := range map[int]bool{0x5C: false, 0x64: true} {
		s := newStand(t, sim.Card(120), sim.ChipOpts{Quiet: true}, vl53l4cd.Opts{})
		s.bus.Inject(sim.Fault{After: func(tr *sim.Transfer) {
			from := int(tr.W[0])<<8 | int(tr.W[1])
			if at := reg - from; at >= 0 && at < len(tr.R) {
				tr.R[at] ^= 0x80
			}
		}})
		b, err := s.dev.Range(t.Context(), 5)
		if refused {
			require.ErrorIs(t, err, sensor.ErrHardware)
			assert.ErrorContains(t, err, "0x0064 reads 80, 00 was written")
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, rise.Known(120), b.RangeMM)
	}
}

func TestInterruptLineSavesTheBus(t *testing.T) {
	t.Parallel()
	plain := newStand(t, sim.Card(120), sim.ChipOpts{Quiet: true}, vl53l4cd.Opts{})
	clock := sim.NewClock(dusk, time.Minute)
	chip := sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{Quiet: true})
	bus := sim.NewBus("I2C1", chip)
	wired, err := vl53l4cd.New(bus, 0x29, &vl53l4cd.Opts{Clock: clock, Interrupt: chip.Interrupt()})
	require.NoError(t, err)
	count := func(d *vl53l4cd.Dev, b *sim.Bus) int {
		_, err := d.Range(t.Context(), 20)
		require.NoError(t, err)
		before := b.Stats().Transfers
		burst, err := d.Range(t.Context(), 20)
		require.NoError(t, err)
		assert.Equal(t, rise.Known(120), burst.RangeMM)
		return b.Stats().Transfers - before
	}
	assert.Equal(t, 21, count(plain.dev, plain.bus)-count(wired, bus), "no question for each of 20 ranges and the one dropped")
}

// TestALateChipIsWaitedFor: an oscillator that is some per cent off.
func TestALateChipIsWaitedFor(t *testing.T) {
	t.Parallel()
	for _, slow := range []float64{-0.05, 0.05, 0.2} {
		s := newStand(t, sim.Card(120), sim.ChipOpts{Seed: 9, Slow: slow}, vl53l4cd.Opts{})
		assert.InDelta(t, 120, s.mm(t), 0.6, slow)
	}
}

// TestBusOccupancy: at the shortest usual budget and the slowest usual bus less than a tenth of the time.
func TestBusOccupancy(t *testing.T) {
	t.Parallel()
	s := newStand(t, sim.Card(120), sim.ChipOpts{}, vl53l4cd.Opts{Budget: 33 * time.Millisecond})
	_, err := s.dev.Range(t.Context(), 20)
	require.NoError(t, err)
	busy, began := s.bus.Stats().Busy(100*physic.KiloHertz), s.clock.Boot()
	_, err = s.dev.Range(t.Context(), 20)
	require.NoError(t, err)
	share := float64(s.bus.Stats().Busy(100*physic.KiloHertz)-busy) / float64(s.clock.Boot()-began)
	t.Logf("a burst of 20 at 33 ms occupies a 100 kHz bus %.1f %% of its time", 100*share)
	assert.Less(t, share, 0.10)
}

func TestBadOptions(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(dusk, time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{}))
	for name, o := range map[string]*vl53l4cd.Opts{
		"no options":         nil,
		"no clock":           {},
		"budget too short":   {Clock: clock, Budget: 9 * time.Millisecond},
		"budget too long":    {Clock: clock, Budget: 201 * time.Millisecond},
		"offset too large":   {Clock: clock, OffsetMM: rise.Known(600)},
		"crosstalk negative": {Clock: clock, CrosstalkKcps: rise.Known(-1)},
		"crosstalk too much": {Clock: clock, CrosstalkKcps: rise.Known(64)},
	} {
		_, err := vl53l4cd.New(bus, 0x29, o)
		assert.ErrorContains(t, err, "VL53L4CD", name)
	}
	for _, addr := range []uint16{0, 7, 0x78, 0x129} {
		_, err := vl53l4cd.New(bus, addr, &vl53l4cd.Opts{Clock: clock})
		assert.ErrorContains(t, err, "address", addr)
	}
}

// BenchmarkTick is one tick of 20 ranges with the simulated chip's own work in it. The limit for a tick is 3 ms of CPU.
func BenchmarkTick(b *testing.B) {
	clock := sim.NewClock(dusk, time.Minute)
	bus := sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{}))
	d, err := vl53l4cd.New(bus, 0x29, &vl53l4cd.Opts{Clock: clock})
	require.NoError(b, err)
	ctx := context.Background()
	_, err = d.Range(ctx, 20)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Range(ctx, 20); err != nil {
			b.Fatal(err)
		}
	}
}

// TestStationsOnOneBusComeUpTogether: every loop makes its driver by itself, all at the same time, and a dip of the common
// supply puts all chips back to one address at once. Each ends up with its own chip.
func TestStationsOnOneBusComeUpTogether(t *testing.T) {
	t.Parallel()
	const n = 4
	clock := sim.NewClock(dusk, time.Minute)
	bus := sim.NewBus("I2C1")
	var chips []*sim.VL53
	var lines []gpio.PinOut
	for i := range n {
		chips = append(chips, sim.NewVL53L4CD(clock, sim.Card(80+20*float64(i)), sim.ChipOpts{Quiet: true}))
		bus.Attach(chips[i])
		lines = append(lines, chips[i].XSHUT())
	}
	require.NoError(t, sensor.HoldInReset(lines...))
	var wg sync.WaitGroup
	for i := range n {
		leave := clock.Join()
		wg.Go(func() {
			defer leave()
			r := recovery.New("station", func() (sensor.Ranger, error) {
				return vl53l4cd.New(bus, 0x30+uint16(i), &vl53l4cd.Opts{Clock: clock, XSHUT: lines[i]})
			})
			fresh := 0
			for tick := range 12 {
				if tick == 6 {
					chips[i].Brownout() // all at the same time
				}
				b, err := r.Range(context.Background(), 5)
				if mm, ok := b.RangeMM.Get(); ok {
					assert.Equal(t, 80+20*float64(i), mm, "another station's chip")
					fresh = tick
				}
				if tick == 2 || tick == 8 || tick == 11 {
					assert.NoError(t, err, "station %d, tick %d", i, tick)
				}
				assert.NoError(t, clock.Sleep(context.Background(), 30*time.Second-clock.Boot()%(30*time.Second)))
			}
			assert.Equal(t, 11, fresh)
		})
	}
	wg.Wait()
}
