package sim

import (
	"encoding/binary"
	"math"
	"time"
)

// timeouts are the times of light of the two ranges, from their registers.
func (c *VL53) timeouts() (a, b time.Duration) {
	return c.timeout(vlTimeoutA, vlPeriodA), c.timeout(vlTimeoutB, vlPeriodB)
}

// timeout turns a timeout register, (LSB << MSB) + 1 macro periods, into time.
func (c *VL53) timeout(reg, vcsel int) time.Duration {
	raw := c.get16(reg)
	periods := float64(int(raw&0xFF)<<min(raw>>8, 16)) + 1
	clocks := float64(c.regs[vcsel]+1) * 2
	macro := float64(int(2304)*((1<<30)/max(1, int(c.get16(vlOscillator))))>>6) / 4096 * clocks / 64
	return time.Duration(periods * macro * float64(time.Microsecond))
}

// budget is how long one measurement takes: the light and what the chip does besides. Register 0x0087 = 21 ranges with
// the first timeout alone, 40 with both (the overheads are ST's, as in its timing function).
func (c *VL53) budget() time.Duration {
	a, b := c.timeouts()
	if c.mode == 0x21 {
		return c.opts.late(a + 2500*time.Microsecond)
	}
	return c.opts.late(a + b + 4300*time.Microsecond)
}

// interval is the time from start to start in autonomous ranging. 1.065 is the factor of ST's getter, between those of its
// setters.
func (c *VL53) interval() time.Duration {
	ticks := float64(binary.BigEndian.Uint32(c.regs[vlInterval:]))
	perMS := float64(max(1, c.get16(vlPLL)&0x3FF)) * 1.065
	return c.opts.late(time.Duration(ticks / perMS * float64(time.Millisecond)))
}

// result measures and fills in the result registers.
func (c *VL53) result(at time.Duration) {
	target := c.scene.Target(at)
	chipC := c.scene.ChipC(at)
	if c.heat {
		c.heat, c.vhvC = false, chipC
	}
	a, b := c.timeouts()
	light := a + b
	if c.mode == 0x21 {
		light = a
	}
	s := c.kind.optics.shoot(target, light, c.view(), c.rng)
	uncrossed := s.signal
	left := s.compensate(float64(int16(c.get16(vlCrosstalk))) / 512 / 1000)
	s.mm += c.opts.OffsetMM + c.opts.DriftMMPerC*(chipC-c.vhvC) + float64(int16(c.get16(vlOffset))-nvmOffset)/4
	s.mm += 0.3 * max(0, c.kind.linear-target.DistanceMM)
	block := c.regs[vlResult : vlResult+17]
	block[0] = c.status(s, target, left)
	block[2] = c.count
	if c.count++; c.count == 0 {
		c.count = 128
	}
	put := func(i int, v float64) {
		binary.BigEndian.PutUint16(block[i:], uint16(min(max(math.Round(v), 0), 0xFFFF)))
	}
	put(3, s.spads*256)
	put(5, uncrossed*128)
	put(7, s.ambient*128)
	put(9, s.sigma*4)
	put(13, s.mm)
	put(15, s.signal*128)
	if c.spoil != nil {
		c.spoil(block)
	}
}

// status is the raw status of a result: 9 good, 4 too little signal, 6 too much sigma, 7 wrapped, 8 clipped, 12 no more
// signal than crosstalk, 13 region off the array.
func (c *VL53) status(s shot, t Target, left bool) byte {
	switch {
	case c.view() == 0:
		return 13
	case !left:
		return 12
	case s.signal < float64(c.get16(vlSignalLimit))/128:
		return 4
	case t.DistanceMM > c.kind.farthest:
		return 7
	case s.mm < c.kind.nearest:
		return 8
	case s.sigma > float64(c.get16(vlSigmaLimit))/4:
		return 6
	}
	return 9
}

// view is the share of the receivers in the region of interest, 0 if it reaches over the edge of the array of 16 × 16.
// SPADs are numbered as in AN5191; the centre of an even count is the one right of and above the middle.
func (c *VL53) view() float64 {
	size := int(c.regs[vlROISize])
	w, h := max(size&0x0F, 3)+1, max(size>>4, 3)+1
	n := int(c.regs[vlROICentre])
	row, col := (n-128)%8, (n-128)/8
	if n < 128 {
		row, col = 8+(127-n)%8, (127-n)/8
	}
	if col-w/2 < 0 || col+(w-1)/2 > 15 || row-(h-1)/2 < 0 || row+h/2 > 15 {
		return 0
	}
	return float64(w*h) / 256
}
