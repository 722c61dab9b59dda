package sim_test

import (
	"encoding/hex"
	"fmt"
	"testing"
	"time"

	"nightjar/sensor/sensortest"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// timed is a simulated chip whose registers a test sets by hand.
type timed struct {
	t     *testing.T
	clock *sim.Clock
	bus   *sim.Bus
}

// set writes registers, in hexadecimal: index and value.
func (c timed) set(regs ...string) {
	c.t.Helper()
	for _, r := range regs {
		w, err := hex.DecodeString(r)
		require.NoError(c.t, err)
		require.NoError(c.t, c.bus.Tx(0x29, w, nil))
	}
}

// wait is how long it takes to the next result, in steps of 0.2 % of what is expected; it does not come before 90 % of
// that. The line is active low, as after a reset.
func (c timed) wait(expected float64) time.Duration {
	c.t.Helper()
	began := c.clock.Boot()
	line := []byte{1}
	for sleep := 0.9 * expected; ; sleep = expected / 500 {
		require.NoError(c.t, c.clock.Sleep(c.t.Context(), time.Duration(sleep)))
		require.NoError(c.t, c.bus.Tx(0x29, []byte{0, 0x31}, line))
		took := c.clock.Boot() - began
		if line[0]&1 == 0 {
			return took
		}
		require.Less(c.t, float64(took), 1.2*expected)
	}
}

// TestVL53L4CDTakesTheTimeThatItsRegistersSay: the registers that ST's driver computes for a budget and a period make the
// simulated chip take that budget and that period (stm32duino/VL53L4CD b6ed0e2).
func TestVL53L4CDTakesTheTimeThatItsRegistersSay(t *testing.T) {
	t.Parallel()
	type vector struct {
		Osc      string `json:"osc"`
		PLL      string `json:"clkpll"`
		BudgetMS int    `json:"budget_ms"`
		InterMS  int    `json:"inter_ms"`
		Accepted bool   `json:"accepted"`
		A        string `json:"reg_5e"`
		B        string `json:"reg_61"`
		Interval string `json:"reg_6c"`
	}
	checked := 0
	for _, v := range sensortest.Vectors[vector](t, "vl53l4cd.timing_vectors.json") {
		if !v.Accepted || v.InterMS > 1000 {
			continue
		}
		checked++
		clock := sim.NewClock(dusk, time.Minute)
		c := timed{t, clock, sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(100), sim.ChipOpts{}))}
		c.set("0006"+v.Osc, "00de"+v.PLL, "005e"+v.A, "006007", "0061"+v.B, "006305", "006c"+v.Interval)
		start := "008740"
		if v.InterMS == 0 {
			start = "008721"
		}
		c.set(start)
		ms := func(n int) float64 { return float64(n) * float64(time.Millisecond) }
		assert.InEpsilon(t, ms(v.BudgetMS), float64(c.wait(ms(v.BudgetMS))), 0.015, "budget of %+v", v)
		c.set("008601")
		// From result to result it is the period, or the budget without one. ST's factors are 1.055 to set and 1.065 to get.
		period := ms(max(v.BudgetMS, v.InterMS))
		assert.InEpsilon(t, period, float64(c.wait(period)), 0.02, "period of %+v", v)
	}
	assert.Greater(t, checked, 100)
}

// TestVL53L1XTakesTheTimeThatItsRegistersSay: the registers that pololu/vl53l1x-arduino 8f21d60 computes for a budget
// make the simulated chip take what that driver reads back from them.
func TestVL53L1XTakesTheTimeThatItsRegistersSay(t *testing.T) {
	t.Parallel()
	type vector struct {
		Osc      string `json:"osc"`
		Mode     string `json:"mode"`
		Accepted bool   `json:"accepted"`
		A        string `json:"reg_5e"`
		B        string `json:"reg_61"`
		BackUS   int    `json:"readback_us"`
	}
	vcsel := map[string][2]string{"short": {"07", "05"}, "medium": {"0b", "09"}, "long": {"0f", "0d"}}
	checked := 0
	for _, v := range sensortest.Vectors[vector](t, "vl53l1x.timing_vectors.pololu.json") {
		if !v.Accepted {
			continue
		}
		p, ok := vcsel[v.Mode]
		require.True(t, ok, v.Mode)
		checked++
		clock := sim.NewClock(dusk, time.Minute)
		c := timed{t, clock, sim.NewBus("I2C1", sim.NewVL53L1X(clock, sim.Card(100), sim.ChipOpts{}))}
		c.set("0006"+v.Osc, "005e"+v.A, "0060"+p[0], "0061"+v.B, "0063"+p[1], "008740")
		want := float64(v.BackUS) * float64(time.Microsecond)
		assert.InDelta(t, want, float64(c.wait(want)), 0.01*want+float64(300*time.Microsecond), fmt.Sprintf("%+v", v))
	}
	assert.Greater(t, checked, 50)
}
