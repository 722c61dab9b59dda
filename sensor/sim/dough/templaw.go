package dough

import "math"

// squareRoot is the square-root law of growth over temperature, √rate = b·(T−Tmin)·(1−exp(c·(T−Tmax))) (Ratkowsky et
// al. 1983, J. Bacteriol. 154:1222), scaled to 1 at 25 °C.
type squareRoot struct{ min, max, c, scale float64 }

func newSquareRoot(k Culture) squareRoot {
	l := squareRoot{min: k.MinC, max: k.MaxC, scale: 1}
	// The slope is zero at the optimum where c/(exp(c·d)−1) = 1/(Topt−Tmin), d = Tmax−Topt. Its left side falls with c.
	d, want := k.MaxC-k.OptC, 1/(k.OptC-k.MinC)
	lo, hi := 1e-6, 10.0
	for range 60 {
		l.c = (lo + hi) / 2
		if l.c/math.Expm1(l.c*d) > want {
			lo = l.c
		} else {
			hi = l.c
		}
	}
	l.scale = 1 / l.rate(referenceC)
	return l
}

func (l squareRoot) rate(c float64) float64 {
	if c <= l.min || c >= l.max {
		return 0
	}
	r := (c - l.min) * -math.Expm1(l.c*(c-l.max))
	return l.scale * r * r
}

// arrhenius is Arrhenius' law with inactivation by cold and by heat (Schoolfield, Sharpe & Magnuson 1981, J. Theor. Biol.
// 88:719, from memory), scaled to 1 at 25 °C.
type arrhenius struct{ active, cold, heat, coldK, heatK, scale float64 }

func newArrhenius(k Culture) arrhenius {
	// Half is inactive a little above the coldest growth, and about midway between the best and the hottest.
	l := arrhenius{active: 48e3, cold: -220e3, heat: 330e3, coldK: kelvin(k.MinC + 9), heatK: kelvin((k.OptC + k.MaxC) / 2), scale: 1}
	l.scale = 1 / l.rate(referenceC)
	return l
}

func (l arrhenius) rate(c float64) float64 {
	t := kelvin(c)
	up := t / 298.15 * math.Exp(l.active/gasConstant*(1/298.15-1/t))
	off := 1 + math.Exp(l.cold/gasConstant*(1/l.coldK-1/t)) + math.Exp(l.heat/gasConstant*(1/l.heatK-1/t))
	return l.scale * up / off
}

// endurance is what heat leaves of the inhibition that yeast bears. Gause 1932 (Q. Rev. Biol. 7:27, Table 5) found final
// yields of 8.8-10.8 at 28 °C, 6.8 at 33, 4.6 at 37 and 0.4 at 41 °C: growth is faster past 28 °C but ends earlier.
func endurance(c float64) float64 {
	if c <= 28 {
		return 1
	}
	return max(0.02, 1-math.Pow((c-28)/14, 1.2))
}
